//! Texts in cells of the plain layout, written so that a spreadsheet gives each back as it was.
//!
//! Text that a spreadsheet might take for a formula, or might not give back as it is, is marked by an
//! apostrophe: `'=1+1`, and `'"…"` with JSON's escapes for control characters and spaces at the ends.

use super::names::is_space;

/// A text as a cell of the plain layout holds it.
pub fn marked(text: &str) -> String {
    let at_an_end = text.starts_with(is_space) || text.ends_with(is_space);
    if at_an_end || text.chars().any(is_unsafe) || holds_workbook_escape(text) {
        return format!("'\"{}\"", escaped(text));
    }
    // Also the wide forms, which some programs take for the narrow ones.
    let starts_formula = text.starts_with(['=', '+', '-', '@', '\'', '＝', '＋', '－', '＠']);
    if starts_formula || text.is_empty() {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}

/// The text of a cell that [`marked`] wrote, or that a person did; `None` if its mark is broken.
pub(in crate::mapping) fn unmarked(cell: &str) -> Option<String> {
    match cell.strip_prefix('\'') {
        Some(json) if json.starts_with('"') => serde_json::from_str(json).ok(),
        Some(text) => Some(text.to_owned()),
        None => Some(cell.to_owned()),
    }
}

/// Characters that XML has no place for, or that readers of text files change.
fn is_unsafe(letter: char) -> bool {
    (letter.is_control() && letter != '\n')
        || matches!(letter, '\u{fffe}' | '\u{ffff}' | '\u{2028}' | '\u{2029}')
}

/// Workbooks write `_x000D_` for a carriage return, and so read it where it was meant as text.
fn holds_workbook_escape(text: &str) -> bool {
    text.contains("_x")
}

fn escaped(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '"' | '\\' => escaped.extend(['\\', letter]),
            '_' => escaped.push_str("\\u005f"),
            letter if is_unsafe(letter) || is_space(letter) && letter != ' ' => {
                escaped.push_str(&format!("\\u{:04x}", u32::from(letter)));
            }
            letter => escaped.push(letter),
        }
    }
    escaped
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_marked_text_starts_no_formula_and_comes_back() {
        for text in [
            "",
            "plain",
            "=1+1",
            "+1",
            "-1",
            "@a",
            "\tx",
            "\rx",
            "'quoted'",
            "'",
            "'\"",
            "\"",
            "\"a\"",
            "＝1",
            " spaces ",
            "two\nlines",
            "a\r\nb",
            "_x000D_",
            "\u{feff}bom",
            "\\u0041",
            "ends\u{a0}",
            "日本",
            "a_b",
        ] {
            let cell = marked(text);
            assert_eq!(
                unmarked(&cell).as_deref(),
                Some(text),
                "{text:?} as {cell:?}"
            );
            assert!(
                !cell.starts_with(['=', '+', '-', '@', '\t', '\r', '＝']),
                "{cell:?}"
            );
            assert!(
                !cell.contains(['\r', '\t']) && !cell.contains("_x"),
                "{cell:?}"
            );
            assert!(!cell.starts_with(char::is_whitespace) && !cell.ends_with(char::is_whitespace));
        }
        assert_eq!(
            marked("a remark, as people write them"),
            "a remark, as people write them"
        );
        assert_eq!(unmarked("'\"cut"), None);
    }
}
