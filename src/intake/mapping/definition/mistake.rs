//! A mistake in a mapping file, in words, before it has a place.

use regex::Regex;

/// Words for a mistake and how to correct it.
pub(in crate::mapping) struct Mistake {
    /// What is wrong.
    pub what: String,
    /// What would be right.
    pub mend: String,
}

/// A mistake, as the error of any result.
pub(in crate::mapping) fn mistake<T>(
    what: impl Into<String>,
    mend: impl Into<String>,
) -> Result<T, Mistake> {
    Err(Mistake {
        what: what.into(),
        mend: mend.into(),
    })
}

/// A regular expression of a mapping.
pub(in crate::mapping) fn regex(text: &str) -> Result<Regex, Mistake> {
    Regex::new(text).or_else(|error| {
        let words = error.to_string();
        let last = words.lines().last().unwrap_or_default();
        mistake(
            format!("{text:?} is no regular expression: {last}"),
            "write it in the syntax of Rust's regex crate; in TOML between single quotes",
        )
    })
}
