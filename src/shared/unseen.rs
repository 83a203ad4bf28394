//! Characters that a reader does not see and that move or hide what is around them.

/// Control characters and marks of writing direction, which show as nothing.
pub fn is_unseen(c: char) -> bool {
    c.is_control()
        || matches!(
            c,
            '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{fffe}' | '\u{ffff}'
        )
        || matches!(c, '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// A sentence without what is not seen, but for the isolates that [`super::shown_names::display_name`] put around names.
pub(crate) fn seen_text(text: &str) -> String {
    let stays = |c: &char| matches!(c, '\u{2068}' | '\u{2069}') || !is_unseen(*c);
    text.chars().filter(stays).collect()
}

/// A text of other people without anything that is not seen.
pub(crate) fn plain_text(text: &str) -> String {
    text.chars().filter(|c| !is_unseen(*c)).collect()
}
