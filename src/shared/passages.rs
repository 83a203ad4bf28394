//! Passages of instructions, and the cautions of a protocol as passages: for count sheets and cards alike.

use super::cautions::standing_cautions;
use scouting::protocol::catalogue::{Decision, Protocol};

/// A passage of the instructions.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Passage {
    /// A few words.
    pub title: String,
    /// A sentence or more.
    pub text: String,
}

/// What to consider before anyone treats: the protocol's timing, then the cautions, most weighty first. Those of a
/// count that decides nothing for a field come before the standing ones.
pub(crate) fn cautions(protocol: &Protocol) -> Vec<Passage> {
    let own: Vec<Passage> = protocol
        .cautions
        .iter()
        .map(|caution| passage("For this count", one_line(&caution.text)))
        .collect();
    let timing = one_line(&protocol.timing.treat);
    let (first, last) = match protocol.decision {
        Decision::Field => (vec![passage("Treatment timing", timing)], own),
        Decision::Region => (
            [vec![passage("Not a field decision", timing)], own].concat(),
            Vec::new(),
        ),
    };
    let mut passages = first;
    passages.extend(
        standing_cautions(&protocol.crop, protocol.timing.treat_at.as_deref())
            .into_iter()
            .map(|caution| passage(&caution.title, caution.text)),
    );
    passages.extend(last);
    passages
}

/// A passage of a title and a text.
pub(crate) fn passage(title: &str, text: String) -> Passage {
    Passage {
        title: title.to_owned(),
        text,
    }
}

/// A text without its line breaks: a protocol file is broken into lines, a page is not.
pub(crate) fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The text with a capital first letter.
pub(crate) fn sentence_case(text: &str) -> String {
    let mut characters = text.chars();
    characters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(characters).collect()
    })
}
