//! The Markdown that the program reads and writes.

use pulldown_cmark::Options;

use super::unseen::seen_text;

/// The Markdown that a note is written in.
pub(crate) fn markdown_options() -> Options {
    Options::ENABLE_TABLES
}

/// Text whose every character represents itself in CommonMark and in the forms of it that know tables
/// and bare addresses; on one line.
pub(crate) fn escaped(text: &str) -> String {
    let text = seen_text(&text.replace(['\n', '\r', '\t'], " "));
    let mut escaped = String::with_capacity(text.len());
    let mut rest = text.chars().peekable();
    let mut letters_w = 0;
    while let Some(c) = rest.next() {
        let next = rest.peek().copied().unwrap_or(' ');
        let mark = match c {
            '\\' | '`' | '*' | '_' | '[' | ']' | '|' | '~' | '@' | '$' => true,
            '<' => next.is_ascii_alphabetic() || matches!(next, '/' | '!' | '?'),
            '&' => next.is_ascii_alphanumeric() || next == '#',
            // Bare addresses: https://…, www.…
            ':' => next == '/',
            '.' => letters_w >= 3,
            '!' => next == '[',
            _ => false,
        };
        if mark {
            escaped.push('\\');
        }
        escaped.push(c);
        letters_w = match c {
            'w' | 'W' => letters_w + 1,
            _ => 0,
        };
    }
    escaped
}
