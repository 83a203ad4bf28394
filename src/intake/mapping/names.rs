//! Names of columns and cells: how two spellings of a header are compared, and `C7` ⇄ place.
//!
//! Which column feeds which member is [`super::columns`]'s to say.

pub(in crate::mapping) use crate::sheet::grid::letters;
use unicode_normalization::UnicodeNormalization;

use crate::sheet::table::Cell;

/// What a message quotes of a cell, in characters.
const QUOTE_LENGTH_MAX: usize = 60;

/// A name as it is compared: NFC, without case, spaces collapsed and cut off at both ends.
///
/// Case is removed by going to upper case and back, so that `ß` and `SS` are one.
pub(in crate::mapping) fn folded(name: &str) -> String {
    let plain: String = name
        .nfc()
        .flat_map(char::to_uppercase)
        .flat_map(char::to_lowercase)
        .nfc()
        .collect();
    let words: Vec<&str> = plain
        .split(is_space)
        .filter(|word| !word.is_empty())
        .collect();
    words.join(" ")
}

/// A value as it is kept: NFC, without spaces at both ends.
pub(in crate::mapping) fn trimmed(text: &str) -> String {
    text.trim_matches(is_space).nfc().collect()
}

/// White space, and the two marks of no width that spreadsheets like to carry along.
pub(in crate::mapping) fn is_space(letter: char) -> bool {
    letter.is_whitespace() || matches!(letter, '\u{200b}' | '\u{feff}')
}

/// The place of a column, counted from 0; `None` unless it is one to three letters.
pub(in crate::mapping) fn column_of(letters: &str) -> Option<usize> {
    let fits = (1..=3).contains(&letters.len())
        && letters.bytes().all(|letter| letter.is_ascii_alphabetic());
    fits.then(|| {
        letters.bytes().fold(0, |place, letter| {
            place * 26 + usize::from(letter.to_ascii_uppercase() - b'A') + 1
        }) - 1
    })
}

/// Column and row of a cell such as `B2`.
pub fn cell_of(name: &str) -> Option<(usize, u64)> {
    let digits = name.find(|letter: char| letter.is_ascii_digit())?;
    let row = name[digits..].parse().ok().filter(|row| *row > 0)?;
    Some((column_of(&name[..digits])?, row))
}

/// Whether a cell holds nothing that can be seen.
pub(in crate::mapping) fn is_blank(cell: &Cell) -> bool {
    match cell {
        Cell::Empty => true,
        Cell::Text(text) => text.chars().all(is_space),
        _ => false,
    }
}

/// A cell's content as plain text, for comparing and for keys.
pub(in crate::mapping) fn content(cell: &Cell) -> String {
    match cell {
        Cell::Empty => String::new(),
        Cell::Text(text) => trimmed(text),
        Cell::Number(number) | Cell::Percent(number) => number.to_string(),
        Cell::Truth(truth) => truth.to_string(),
        Cell::Date(date) => date.to_string(),
        Cell::Moment(moment) => moment.to_string(),
        Cell::Broken(words) => words.clone(),
        Cell::Struck(cell) => content(cell),
    }
}

/// A cell as a message shows it.
pub(in crate::mapping) fn shown(cell: &Cell) -> String {
    match cell {
        Cell::Empty => "blank".to_owned(),
        Cell::Text(text) if text.chars().all(is_space) => "blank".to_owned(),
        Cell::Text(text) => quoted(text),
        Cell::Number(number) => number.to_string(),
        Cell::Truth(truth) => if *truth { "TRUE" } else { "FALSE" }.to_owned(),
        Cell::Date(date) => format!("the date {date}"),
        Cell::Moment(moment) => format!("the date and time {moment}"),
        // An error value is a text of the file as well.
        Cell::Broken(words) => printable(words),
        Cell::Percent(number) => format!("{number}, shown as {}%", 100.0 * number),
        Cell::Struck(cell) => format!("{}, struck through", shown(cell)),
    }
}

/// A text in quotation marks, as [`printable`].
pub(in crate::mapping) fn quoted(text: &str) -> String {
    format!("\"{}\"", printable(text))
}

/// A text on one line, cut where it grows long. Accents and other scripts stay readable.
fn printable(text: &str) -> String {
    let mut shown = String::new();
    for letter in text.chars().take(QUOTE_LENGTH_MAX) {
        match letter {
            '\u{a0}' | '\u{202f}' | '\u{200b}' | '\u{feff}' => {
                shown.extend(letter.escape_unicode())
            }
            letter if letter.is_control() => shown.extend(letter.escape_default()),
            letter => shown.push(letter),
        }
    }
    if text.chars().count() > QUOTE_LENGTH_MAX {
        shown.push('…');
    }
    shown
}

/// `Visits!C7 (Eggs)`; a text file has no sheet name and its header may be blank.
pub(in crate::mapping) fn cell_place(sheet: &str, column: usize, row: u64, header: &str) -> String {
    let sheet = if sheet.is_empty() {
        String::new()
    } else {
        format!("{sheet}!")
    };
    let header = if header.is_empty() {
        String::new()
    } else {
        format!(" ({header})")
    };
    format!("{sheet}{}{row}{header}", letters(column))
}

/// What a message adds where a cell is blank: in a workbook something else may have been meant to speak.
pub(in crate::mapping) fn unseen(place: &str) -> &'static str {
    match place.contains('!') {
        true => " (colors and comments of cells are not read)",
        false => "",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headers_that_people_hold_for_the_same_are_the_same() {
        for spelling in [
            "Field ID",
            "  field\u{a0}id ",
            "FIELD \n ID",
            "\u{feff}field id",
        ] {
            assert_eq!(folded(spelling), "field id", "{spelling:?}");
        }
        assert_eq!(folded("Fe\u{301}tus"), folded("F\u{c9}TUS"));
        assert_eq!(folded("Straße"), folded("STRASSE"));
        assert_ne!(folded("Field ID"), folded("FieldID"));
    }

    #[test]
    fn letters_and_places_go_both_ways() {
        for (name, place) in [("A", 0), ("Z", 25), ("AA", 26), ("AZ", 51), ("XFD", 16_383)] {
            assert_eq!(letters(place), name);
            assert_eq!(column_of(name), Some(place));
        }
        assert_eq!(cell_of("b12"), Some((1, 12)));
        for wrong in ["", "B", "12", "B0", "ABCD1", "B1B", "É1"] {
            assert_eq!(cell_of(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn a_message_shows_the_space_that_nobody_sees() {
        assert_eq!(quoted("12\u{a0}"), "\"12\\u{a0}\"");
        assert_eq!(quoted("Área"), "\"Área\"");
    }
}
