//! Why an alert is withdrawn or corrected, in the office's words, for its readers.

use crate::shared::unseen::plain_text;
use scouting::failure::{Failure, Kind};

/// A reason is a sentence or two on a stub, in a feed and in a list.
const REASON_LENGTH_MAX: usize = 500;

/// The reason on one line, without what is not seen.
///
/// # Errors
/// A [`Failure`] if it says nothing, or is longer than a reason may be.
pub(crate) fn readable(reason: &str) -> Result<String, Failure> {
    let words: Vec<&str> = reason.split_whitespace().collect();
    let reason = plain_text(&words.join(" "));
    let length = reason.chars().count();
    let wrong = |what: String| {
        Err(Failure::new(Kind::Publish, what)
            .mend("say in a sentence what was wrong, for the readers of the alert"))
    };
    match length {
        0 => wrong("the reason is empty".to_owned()),
        1..=REASON_LENGTH_MAX => Ok(reason),
        _ => wrong(format!(
            "the reason has {length} characters, {REASON_LENGTH_MAX} at the most"
        )),
    }
}
