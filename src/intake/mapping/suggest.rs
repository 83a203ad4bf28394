//! A first draft of a mapping file, from the headers of a sheet: for a person to read and finish.
//!
//! It is never applied by itself. What it is sure of it says; what only a person can know (units,
//! date formats, what a blank means) it leaves as a question, so that the draft is refused until
//! somebody answers.

use std::sync::LazyLock;

use regex::Regex;

use super::known_headers::{Known, known_as};
use super::names::{content, folded, is_blank, letters, quoted, shown};
use crate::sheet::table::{Cell, Row, Sheet};

/// Rows that are looked at for the header, and for samples of cells.
const SEARCH_ROWS: usize = 50;
const SAMPLES: usize = 3;

/// Shapes of columns that repeat: what the pattern would be.
static REPEATS: LazyLock<Vec<(Regex, &'static str)>> = LazyLock::new(|| {
    [
        (
            r"^(?i)[a-z]+ ?[0-9]+ ?[a-z]+ ?[0-9]+ ?[a-z]+ ?[0-9]+$",
            "site, head and bract",
        ),
        (r"^(?i)[a-z]+ ?[0-9]+ ?[a-z]+ ?[0-9]+$", "head and bract"),
        (r"^(?i)[a-z]+ ?[0-9]+$", "bract, or the head"),
    ]
    .into_iter()
    .map(|(pattern, what)| {
        (
            Regex::new(pattern).expect("a pattern of ours compiles"),
            what,
        )
    })
    .collect()
});
/// A draft of a mapping for the first sheet that looks like a table, as the text of a TOML file.
pub fn suggest(sheets: &[Sheet]) -> String {
    let found = sheets
        .iter()
        .find_map(|sheet| Some((sheet, header_of(sheet)?)));
    let Some((sheet, header)) = found else {
        return "# No header was found: no row of the file holds three different texts.\n"
            .to_owned();
    };
    let mut draft = opening(sheets, sheet, header);
    let mut repeats: Vec<(usize, String)> = Vec::new();
    let mut columns = String::new();
    let mut mapped: Vec<&str> = Vec::new();
    for (place, cell) in header.cells.iter().enumerate() {
        let name = content(cell);
        let samples = samples(sheet, header, place);
        if name.is_empty() && samples.is_empty() {
            continue;
        }
        match known_as(&name).filter(|known| !mapped.contains(&known.to)) {
            Some(known) => {
                mapped.push(known.to);
                columns.push_str(&known_column(&name, known, &samples));
            }
            None if repeat_of(&name).is_some() => repeats.push((place, name)),
            None => columns.push_str(&unknown_column(place, &name, &samples)),
        }
    }
    draft.push_str(&rows(&mapped));
    draft.push_str(&constants(&mapped));
    draft.push_str(&columns);
    draft.push_str(&repeated_columns(&repeats));
    draft
}

/// The first row with the most different texts.
fn header_of(sheet: &Sheet) -> Option<&Row> {
    let texts = |row: &Row| {
        let mut texts: Vec<String> = row
            .cells
            .iter()
            .filter(|cell| matches!(cell, Cell::Text(_)) && !is_blank(cell))
            .map(|cell| folded(&content(cell)))
            .filter(|text| text.parse::<f64>().is_err())
            .collect();
        texts.sort_unstable();
        texts.dedup();
        texts.len()
    };
    let rows = sheet.rows.iter().take(SEARCH_ROWS);
    rows.max_by_key(|row| (texts(row), std::cmp::Reverse(row.number)))
        .filter(|row| texts(row) >= 3)
}

fn opening(sheets: &[Sheet], sheet: &Sheet, header: &Row) -> String {
    let sheet_name = if sheet.name.is_empty() {
        String::new()
    } else {
        format!("sheetName = {}\n", toml_text(&sheet.name))
    };
    let others: Vec<String> = sheets
        .iter()
        .filter(|other| {
            other.name != sheet.name && other.rows.iter().any(|row| !row.cells.iter().all(is_blank))
        })
        .map(|other| toml_text(&other.name))
        .collect();
    let others = if others.is_empty() {
        String::new()
    } else {
        format!(
            "# DECIDE: do these sheets hold visits?\nignoreSheets = [{}]\n",
            others.join(", ")
        )
    };
    format!(
        "# A draft, made from headers alone. A person must answer every line that says DECIDE and every \"?\":\n\
         # the draft is refused until then. See sample_data/mappings/README.md.\n\
         mapping = \"1\"\ntarget = \"visit/1.0\"\nignore = []\n\n[dialect]\n{sheet_name}{others}headerRows = [{}]\n\n\
         [schema]\n# DECIDE: texts that mean \"nothing written here\", as \"-\" or \"n/a\"; blank is one already.\nmissingValues = []\n\
         # DECIDE: how numbers are written.\ndecimalChar = \".\"\n\n",
        header.number
    )
}

fn rows(mapped: &[&str]) -> String {
    let row_is = if mapped.contains(&"{bract}") {
        "bract"
    } else if mapped.contains(&"{head}") {
        "head"
    } else if mapped.contains(&"/sites/{site}/site") {
        "site"
    } else {
        "visit"
    };
    let key = if row_is == "visit" {
        String::new()
    } else {
        "# DECIDE: which members make rows one visit.\nvisitKey = [\"/field/field_id\", \"/observed_on\"]\n".to_owned()
    };
    let id = if mapped.contains(&"/visit_id") {
        String::new()
    } else {
        "[visitId]\n# DECIDE: no column looks like an id; these members would make one.\n\
         from = [\"/field/field_id\", \"/observed_on\", \"/observer_id\"]\n\n"
            .to_owned()
    };
    format!(
        "[rows]\n# DECIDE: what one row is: visit, site, head, plant, trap or bract.\nrowIs = \"{row_is}\"\n{key}\n{id}"
    )
}

/// What every record needs and no column seems to give.
fn constants(mapped: &[&str]) -> String {
    let mut lines = String::from(
        "[constant]\n# DECIDE: what the sheet does not say; a [[field]] is better where there is a column.\n",
    );
    let wanted = [
        "/protocol",
        "/submitted_at",
        "/observer_id",
        "/crop_stage",
        "/field/crop_type",
    ];
    for pointer in wanted.iter().filter(|pointer| !mapped.contains(*pointer)) {
        lines.push_str(&format!("\"{pointer}\" = \"?\"\n"));
    }
    lines.push('\n');
    lines
}

fn known_column(name: &str, known: &Known, samples: &[String]) -> String {
    let question = if known.question.is_empty() {
        String::new()
    } else {
        format!("# DECIDE: {}.\n", known.question)
    };
    format!(
        "[[field]]\n# Likely: the header says so. Cells: {}.\n{question}name = {}\nto = \"{}\"\n{}\n",
        samples.join(", "),
        toml_text(name),
        known.to,
        known.lines
    )
}

fn unknown_column(place: usize, name: &str, samples: &[String]) -> String {
    let samples = if samples.is_empty() {
        "none".to_owned()
    } else {
        samples.join(", ")
    };
    let selector = if name.is_empty() {
        format!("column = \"{}\"", letters(place))
    } else {
        format!("name = {}", toml_text(name))
    };
    format!(
        "# DECIDE: column {} {} is not known. Cells: {samples}.\n# Map it, or add it to ignore.\n# [[field]]\n# {selector}\n# to = \"?\"\n\n",
        letters(place),
        quoted(name)
    )
}

fn repeat_of(name: &str) -> Option<&'static str> {
    REPEATS
        .iter()
        .find(|(pattern, _)| pattern.is_match(name))
        .map(|(_, what)| *what)
}

fn repeated_columns(repeats: &[(usize, String)]) -> String {
    let Some((first, name)) = repeats.first() else {
        return String::new();
    };
    let what = repeat_of(name).unwrap_or_default();
    format!(
        "[[field]]\n# DECIDE: {} columns from {} on look like counts, their numbers like {what}: {} …\n\
         # Name the numbers in a pattern, as namePattern = '^H(?<head>[0-9]+)B(?<bract>[0-9]+)$'.\n\
         namePattern = \"?\"\nto = \"/sites/{{site}}/heads/{{head}}/{{bract}}\"\n",
        repeats.len(),
        letters(*first),
        repeats
            .iter()
            .take(SAMPLES)
            .map(|(_, name)| quoted(name))
            .collect::<Vec<_>>()
            .join(", ")
    )
}

/// The first cells below a header that hold something.
fn samples(sheet: &Sheet, header: &Row, place: usize) -> Vec<String> {
    sheet
        .rows
        .iter()
        .filter(|row| row.number > header.number)
        .filter_map(|row| row.cells.get(place))
        .filter(|cell| !is_blank(cell))
        .take(SAMPLES)
        .map(shown)
        .collect()
}

fn toml_text(text: &str) -> String {
    // A JSON text is a basic string of TOML, but for one control character.
    serde_json::Value::from(text)
        .to_string()
        .replace('\u{7f}', "\\u007f")
}
