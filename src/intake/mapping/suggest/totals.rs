//! Rows of totals and means below or among the visits, which the draft leaves out.

use std::sync::LazyLock;

use regex::Regex;

use super::known_headers::{DAY, FIELD, SCOUT, SITE, plain};
use super::seen::{Column, Role, Seen};
use super::toml_text::{toml_pattern, toml_text};
use crate::mapping::names::{content, is_blank, letters};
use crate::sheet::table::{Cell, Row};

/// Words that begin the row of a total; common practice, no source.
static TOTAL: LazyLock<Regex> = LazyLock::new(|| {
    Regex::new(r"^(grand total|sub-?total|totals|totales|totaux|total|sum|mean|average|avg|minimum|maximum|min|max|sous-total|somme|moyenne|suma|promedio|media)\b")
        .expect("a pattern of ours compiles")
});

/// Members whose cells say of which visit, site or unit a row is.
const KEYS: [&str; 9] = [
    "/visit_id",
    FIELD,
    SCOUT,
    DAY,
    SITE,
    "{head}",
    "{plant}",
    "{trap}",
    "{bract}",
];

/// The blocks that leave out rows of totals; the rows are taken from the table.
pub(super) fn skip_totals(seen: &mut Seen<'_>) -> String {
    let day = seen.place_of(DAY);
    let mut blocks = String::new();
    let mut left_out: Vec<u64> = Vec::new();
    for column in &seen.columns {
        if !is_key(column) {
            continue;
        }
        let mut words: Vec<String> = Vec::new();
        for row in &seen.rows {
            let Some(word) =
                total_word(row, column.place).filter(|_| names_no_visit(row, column, day))
            else {
                continue;
            };
            left_out.push(row.number);
            if !words.contains(&word) {
                words.push(word);
            }
        }
        if !words.is_empty() {
            blocks += &block(column, &words);
        }
    }
    seen.rows.retain(|row| !left_out.contains(&row.number));
    blocks
}

fn is_key(column: &Column) -> bool {
    match &column.role {
        Role::Known(named) => KEYS.contains(&named.to),
        _ => column.place == 0,
    }
}

/// The word of a total that a cell begins with.
fn total_word(row: &Row, place: usize) -> Option<String> {
    let Some(Cell::Text(text)) = row.cells.get(place) else {
        return None;
    };
    Some(TOTAL.find(plain(text).trim())?.as_str().to_owned())
}

/// A field may be called Mean; a row with a day of its own is a visit, unless the word is where a number of a site or
/// unit belongs.
fn names_no_visit(row: &Row, column: &Column, day: Option<usize>) -> bool {
    let in_number = matches!(&column.role, Role::Known(named) if named.to.starts_with(['{']) || named.to == SITE);
    let day = day
        .and_then(|day| row.cells.get(day))
        .filter(|cell| !is_blank(cell));
    in_number
        || day.is_none_or(|cell| !content(cell).contains(|letter: char| letter.is_ascii_digit()))
}

fn block(column: &Column, words: &[String]) -> String {
    let selector = match column.by_letter {
        true => format!("column = \"{}\"", letters(column.place)),
        false => format!("name = {}", toml_text(&column.name)),
    };
    let pattern = format!(r"(?i)^\s*({})\b", words.join("|"));
    format!(
        "# Rows of totals.\n[[skip]]\n{selector}\nmatches = {}\n\n",
        toml_pattern(&pattern)
    )
}
