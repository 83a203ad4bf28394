//! What a mapping says of cells outside the rows: constants, sheet names, cells above the table, times and units.

use intake::sheet::table::Cell;
use jiff::civil::date;
use serde_json::{Value, json};

use super::{
    base_header, base_row, base_sheet, document, findings, mapping, records, sheet, text, with,
};
use crate::support::mapping::BASE;

/// Mapping, column, cell, member, and its value or the code of the finding.
type MeaningCase = (
    String,
    usize,
    Cell,
    &'static str,
    Result<Value, &'static str>,
);

#[test]
fn the_mapping_says_what_a_cell_means() {
    let eggs = "/sites/0/heads/0/0";
    let without_unit = BASE.replace("unit = \"ha\"\n", "");
    let area_from_cell = without_unit.replace(
        "name = \"Area\"\n",
        "name = \"Area\"\nunitFrom = \"cell\"\n",
    );
    let cases: Vec<MeaningCase> = vec![
        (
            with("Eggs", "missingValues = [\"-\"]\ndefault = 0"),
            7,
            text("-"),
            eggs,
            Ok(json!(0)),
        ),
        (
            with("Eggs", "values = { trace = 1 }"),
            7,
            text("Trace"),
            eggs,
            Ok(json!(1)),
        ),
        (
            with("Eggs", "bareNumber = false"),
            7,
            text("12 (est)"),
            eggs,
            Err("number-with-text"),
        ),
        (
            with("Eggs", "bareNumber = false\nignoreText = [\"est\"]"),
            7,
            text("12 (est)"),
            eggs,
            Ok(json!(12)),
        ),
        (
            with("Eggs", "bareNumber = false"),
            7,
            text("12 eggs"),
            eggs,
            Ok(json!(12)),
        ),
        (
            with("Eggs", "bareNumber = false"),
            7,
            text("<5"),
            eggs,
            Err("number-not-exact"),
        ),
        (
            with("Eggs", "bareNumber = false"),
            7,
            text("5-10"),
            eggs,
            Err("number-is-a-range"),
        ),
        (
            with("Eggs", "groupChar = ','"),
            7,
            text("1,234"),
            eggs,
            Ok(json!(1234)),
        ),
        (
            with("Area", "fractions = true"),
            5,
            text("1 1/2"),
            "/field/area_ha",
            Ok(json!(1.5)),
        ),
        (
            with("Area", "decimalChar = ','"),
            5,
            text("1,5"),
            "/field/area_ha",
            Ok(json!(1.5)),
        ),
        (
            area_from_cell.clone(),
            5,
            text("100 ac"),
            "/field/area_ha",
            Ok(json!(40.468564224)),
        ),
        (
            area_from_cell.clone(),
            5,
            text("62.5 hectares"),
            "/field/area_ha",
            Ok(json!(62.5)),
        ),
        (
            area_from_cell.clone(),
            5,
            text("62.5"),
            "/field/area_ha",
            Err("unit-missing"),
        ),
        (
            area_from_cell.clone(),
            5,
            text("62.5 miles"),
            "/field/area_ha",
            Err("number-with-text"),
        ),
        (
            with("Area", "bareNumber = false"),
            5,
            text("62.5 ac"),
            "/field/area_ha",
            Err("unit-differs"),
        ),
        (
            with("Area", "bareNumber = false"),
            5,
            text("62.5 ha"),
            "/field/area_ha",
            Ok(json!(62.5)),
        ),
        (
            with("Date", "format = \"%m/%d/%Y\""),
            2,
            text("6/7/2026"),
            "/observed_on",
            Ok(json!("2026-06-07")),
        ),
        (
            with("Date", "format = \"%d/%m/%Y\""),
            2,
            text("6/7/2026"),
            "/observed_on",
            Ok(json!("2026-07-06")),
        ),
        (
            with("Date", "format = [\"%m/%d/%Y\", \"%d/%m/%Y\"]"),
            2,
            text("6/7/2026"),
            "/observed_on",
            Err("date-ambiguous"),
        ),
        (
            with("Date", "format = [\"%m/%d/%Y\", \"%d/%m/%Y\"]"),
            2,
            text("21/7/2026"),
            "/observed_on",
            Ok(json!("2026-07-21")),
        ),
        (
            with("Date", "dateSystem = 1900"),
            2,
            Cell::Number(46_224.0),
            "/observed_on",
            Ok(json!("2026-07-21")),
        ),
        (
            with("Date", "dateSystem = 1904"),
            2,
            text("44762"),
            "/observed_on",
            Ok(json!("2026-07-21")),
        ),
        (
            with("Field", "zeroPad = 5"),
            1,
            Cell::Number(46.0),
            "/field/field_id",
            Ok(json!("00046")),
        ),
        (
            with("Field", "values = { a = \"F-1\" }"),
            1,
            text("A"),
            "/field/field_id",
            Ok(json!("F-1")),
        ),
        (
            with("Field", "values = { a = \"F-1\" }"),
            1,
            text("F-1"),
            "/field/field_id",
            Ok(json!("F-1")),
        ),
        (
            with("Field", "values = { a = \"F-1\" }"),
            1,
            text("b"),
            "/field/field_id",
            Err("code-unknown"),
        ),
        (
            with("Field", "part = '^no[.] (?<value>[0-9]+)$'"),
            1,
            text("no. 12"),
            "/field/field_id",
            Ok(json!("12")),
        ),
        (
            with("Field", "part = '^no[.] (?<value>[0-9]+)$'"),
            1,
            text("12"),
            "/field/field_id",
            Err("part-missing"),
        ),
        (
            with("Field", "default = \"F-0\""),
            1,
            Cell::Empty,
            "/field/field_id",
            Ok(json!("F-0")),
        ),
    ];
    for (mapping_text, column, cell, pointer, wanted) in cases {
        let sheet = base_sheet(|rows| rows[1][column] = cell.clone());
        let record = &records(&mapping_text, sheet)[0];
        match wanted {
            Ok(value) => assert_eq!(document(record).pointer(pointer), Some(&value), "{cell:?}"),
            Err(code) => assert_eq!(findings(record)[0].code.as_str(), code, "{cell:?}"),
        }
    }
}

#[test]
fn text_next_to_a_count_never_makes_another_count_of_it() {
    let bare = with("Eggs", "bareNumber = false");
    for (written, code) in [
        ("3-Jan", "date-in-number"),
        ("3 Jan", "date-in-number"),
        ("3 March", "date-in-number"),
        ("3e1", "number-unreadable"),
        ("3.00E+00", "number-unreadable"),
        ("(3)", "number-with-text"),
        ("3rd", "number-with-text"),
        ("3?", "number-with-text"),
        ("3%", "number-with-text"),
        ("3 larvae", "number-with-text"),
        ("3 hatched", "number-with-text"),
    ] {
        for mapping_text in [BASE, &bare] {
            let record = &records(mapping_text, base_sheet(|rows| rows[1][7] = text(written)))[0];
            let [finding] = findings(record) else {
                panic!("{written}: {record:?}")
            };
            assert_eq!(finding.code.as_str(), code, "{written}");
            let advice = &finding.expected;
            assert!(!advice.contains("bareNumber"), "{written}: {advice}");
        }
    }
}

#[test]
fn the_look_of_a_cell_counts() {
    let percent = Cell::Percent(3.0);
    let struck = Cell::Struck(Box::new(Cell::Number(3.0)));
    for (column, cell, code) in [
        (7, &percent, "number-is-a-percentage"),
        (5, &percent, "number-is-a-percentage"),
        (1, &percent, "number-is-a-percentage"),
        (7, &struck, "cell-struck"),
        (1, &struck, "cell-struck"),
    ] {
        let record = &records(BASE, base_sheet(|rows| rows[1][column] = cell.clone()))[0];
        let [finding] = findings(record) else {
            panic!("{cell:?}: {record:?}")
        };
        assert_eq!(finding.code.as_str(), code, "{cell:?}");
    }
}

#[test]
fn a_currency_in_the_cell_must_be_that_of_the_mapping() {
    let in_dollars = with("Price", "unit = \"$/lb\"\nbareNumber = false")
        .replace("\"/economics/market_value/per\" = \"lb\"\n", "");
    let amount = "/economics/market_value/amount";
    for (written, wanted) in [
        ("$0.16", Ok(0.16)),
        ("US$ 0.16/lb", Ok(0.16)),
        ("0.16 USD", Ok(0.16)),
        ("3 ¢", Ok(0.03)),
        ("16 cents a lb", Ok(0.16)),
        ("CAD 0.25", Err("rows-disagree")),
        ("€0.25", Err("rows-disagree")),
        ("0.35 a kilo", Err("unit-differs")),
        ("($0.16)", Err("number-with-text")),
        ("0.16 (est)", Err("number-with-text")),
    ] {
        let record = &records(&in_dollars, base_sheet(|rows| rows[1][6] = text(written)))[0];
        match wanted {
            Ok(value) => {
                assert_eq!(
                    document(record).pointer(amount),
                    Some(&json!(value)),
                    "{written}"
                );
            }
            Err(code) => assert_eq!(findings(record)[0].code.as_str(), code, "{written}"),
        }
    }
}

#[test]
fn a_sheet_that_is_left_out_is_named_if_it_looks_like_the_mapped_one() {
    let mapping_text = BASE.replace(
        "[rows]",
        "[dialect]\nsheetName = \"North\"\nignoreSheets = [\"*\"]\n\n[rows]",
    );
    let sheets = [
        sheet("North", vec![base_header(), base_row()]),
        sheet("South", vec![base_header(), base_row(), base_row()]),
        sheet("Empty", vec![base_header()]),
        sheet("Lists", vec![vec![text("R2")], vec![text("R3")]]),
    ];
    let not_read = mapping(&mapping_text).not_read(&sheets);
    let named: Vec<(&str, u64)> = not_read
        .iter()
        .map(|not_read| (not_read.sheet.as_str(), not_read.rows))
        .collect();
    assert_eq!(named, [("South", 2)]);
}

#[test]
fn a_sheet_a_field_says_the_field_by_its_name() {
    let mapping_text = BASE.replace(
        "[rows]",
        "[dialect]\nsheetPattern = '^Field (?<Field>.+)$'\nignoreSheets = [\"Lists\"]\n\n[rows]",
    );
    let one = |name: &str| {
        let mut rows = vec![base_header(), base_row()];
        rows.iter_mut().for_each(|row| {
            row.remove(1);
        });
        sheet(name, rows)
    };
    let lists = sheet("Lists", vec![vec![text("R2")]]);
    let made = mapping(&mapping_text)
        .records(&[one("Field F-1"), lists, one("Field F-2")], "a.xlsx")
        .unwrap_or_else(|failure| panic!("{failure}"));
    let fields: Vec<Value> = made
        .iter()
        .map(|record| document(record)["field"]["field_id"].clone())
        .collect();
    assert_eq!(fields, ["F-1", "F-2"]);
    assert_eq!(
        made[0].places["/field/field_id"],
        "the name of the sheet \"Field F-1\""
    );
}

#[test]
fn a_cell_above_the_table_may_hold_for_all_rows() {
    let mapping_text = BASE
        .replace("[rows]", "[dialect]\nheaderRows = [3]\n\n[rows]")
        .replace("name = \"Date\"\n", "cell = \"B1\"\n");
    let mut rows = vec![
        vec![text("Date of visit"), Cell::Date(date(2026, 7, 21))],
        Vec::new(),
        base_header(),
        base_row(),
    ];
    rows[2].remove(2);
    rows[3].remove(2);
    let made = records(&mapping_text, sheet("Visits", rows));
    assert_eq!(document(&made[0])["observed_on"], "2026-07-21");
    assert_eq!(made[0].places["/observed_on"], "Visits!B1");
}

#[test]
fn times_plants_and_traps_are_mapped_too() {
    let traps = BASE
        .replace(
            "\"/submitted_at\" = \"2026-07-23T12:00:00Z\"\n",
            "\"/sites/{site}/traps/{trap}/nights\" = 7\n",
        )
        .replace("heads/{head}/{bract}", "traps/{trap}/catch")
        + "\n[[field]]\nname = \"Entered\"\nto = \"/submitted_at\"\nutcOffset = \"-05:00\"\ntimeOfDay = \"18:00\"\n";
    let sheet = |entered: Cell| {
        base_sheet(|rows| {
            rows[0].push(text("Entered"));
            rows[1].push(entered);
        })
    };
    let moment = date(2026, 7, 22).at(7, 30, 0, 0);
    for (cell, wanted) in [
        (Cell::Moment(moment), "2026-07-22T07:30:00-05:00"),
        (Cell::Date(moment.date()), "2026-07-22T18:00:00-05:00"),
        (text("2026-07-22T07:30:00Z"), "2026-07-22T07:30:00Z"),
    ] {
        let made = records(&traps, sheet(cell));
        assert_eq!(document(&made[0])["submitted_at"], wanted);
        assert_eq!(
            document(&made[0])["sites"],
            json!([{"site": 1, "traps": [{"catch": 3, "nights": 7}]}])
        );
    }
    let plants = BASE.replace("heads/{head}/{bract}", "plants/{plant}");
    assert_eq!(
        document(&records(&plants, base_sheet(|_| {}))[0])["sites"],
        json!([{"site": 1, "plants": [3]}])
    );
}

#[test]
fn the_time_of_submission_may_come_with_the_command() {
    let bare = BASE.replace("\"/submitted_at\" = \"2026-07-23T12:00:00Z\"\n", "");
    let sheet = || [base_sheet(|_| {})];
    let failure = mapping(&bare)
        .records(&sheet(), "a.xlsx")
        .expect_err("no time");
    assert!(failure.to_string().contains("help:"), "{failure}");
    let timed = mapping(&bare)
        .with_submitted_at("2026-08-01T00:00:00Z")
        .expect("a time");
    let made = timed.records(&sheet(), "a.xlsx").expect("records");
    assert_eq!(document(&made[0])["submitted_at"], "2026-08-01T00:00:00Z");
    assert!(mapping(&bare).with_submitted_at("yesterday").is_err());
    let stated = mapping(BASE)
        .with_submitted_at("2026-08-01T00:00:00Z")
        .expect("a time");
    // Two times that differ: neither may win in silence.
    let failure = stated.records(&sheet(), "a.xlsx").expect_err("two times");
    for time in ["2026-08-01T00:00:00Z", "2026-07-23T12:00:00Z"] {
        assert!(failure.to_string().contains(time), "{failure}");
    }
    let same = mapping(BASE)
        .with_submitted_at("2026-07-23T12:00:00Z")
        .expect("a time");
    let made = same.records(&sheet(), "a.xlsx").expect("records");
    assert_eq!(document(&made[0])["submitted_at"], "2026-07-23T12:00:00Z");
}
