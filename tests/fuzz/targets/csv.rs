//! Tables as text: cells stay what they were, and every row of every mapping is accounted for.

use std::sync::LazyLock;

use intake::mapping::{Mapping, suggest};
use intake::read::sheets::read_sheets;
use intake::read::submitted::{Form, SubmittedFile};
use intake::sheet::table::{Cell, Sheet};

use super::desk::{hold_to_its_records, reported, submission};

/// The worked mappings.
pub static MAPPINGS: LazyLock<Vec<Mapping>> = LazyLock::new(|| {
    let texts = [
        include_str!("../../../sample_data/mappings/wide.toml"),
        include_str!("../../../sample_data/mappings/long.toml"),
        include_str!("../../../sample_data/mappings/blocks.toml"),
    ];
    let read = texts.map(|text| {
        let mapping = Mapping::read(text, "worked.toml").expect("a worked mapping");
        // Their constants say when; where they do not, this does.
        mapping
            .with_submitted_at("2026-07-23T12:00:00Z")
            .expect("a moment")
    });
    read.into()
});

/// Looks at one table.
pub fn look(bytes: &[u8]) {
    let Some(file) = submission(bytes).filter(|file| file.form == Form::TextTable) else {
        return;
    };
    look_at_sheets(&file);
}

/// What is asked of the sheets of any file. It is read by one of the worked mappings, which its bytes choose.
pub fn look_at_sheets(file: &SubmittedFile) {
    if let Some(sheets) = reported(read_sheets(file, None)) {
        sheets.iter().for_each(hold_sheet);
        let draft = suggest(&sheets, &file.name);
        let draft: Result<toml::Table, _> = draft.parse();
        draft.expect("a suggested mapping is TOML");
    }
    hold_to_its_records(file, None, &mut |_| {});
    let chosen = file.sha256.bytes().map(usize::from).sum::<usize>() % MAPPINGS.len();
    hold_to_its_records(file, Some(&MAPPINGS[chosen]), &mut |_| {});
}

fn hold_sheet(sheet: &Sheet) {
    let mut number = 0;
    for row in &sheet.rows {
        assert!(row.number > number, "row {} after {number}", row.number);
        number = row.number;
        assert_ne!(
            row.cells.last(),
            Some(&Cell::Empty),
            "row {number} ends in nothing"
        );
        for cell in &row.cells {
            if let Cell::Number(number) = cell {
                assert!(number.is_finite(), "a cell of {number}");
            }
        }
    }
}

/// The records of a mapping are JSON or have a reason, and name rows that are there.
pub fn hold_records(mapping: &Mapping, sheets: &[Sheet]) {
    let Some(records) = reported(mapping.records(sheets, "input")) else {
        return;
    };
    let numbers = || {
        sheets
            .iter()
            .flat_map(|sheet| &sheet.rows)
            .map(|row| row.number)
    };
    for record in records {
        assert!(
            numbers().any(|number| number == record.line),
            "row {}",
            record.line
        );
        let sent: serde_json::Value =
            serde_json::from_str(&record.as_sent).expect("rows as sent are JSON");
        assert!(sent["rows"].is_array(), "{sent}");
        match &record.document {
            Ok(document) => assert!(document.is_object(), "{document}"),
            Err(findings) => assert!(!findings.is_empty(), "refused without a reason"),
        }
    }
}
