//! Marks in columns of numbers that are no numbers: `-`, `n/a`.

use std::sync::LazyLock;

use regex::Regex;

use super::known_headers::plain;
use crate::mapping::names::{folded, trimmed};
use crate::sheet::table::Cell;

/// Marks that say that there is no number; common practice, no source.
static MARK: LazyLock<Regex> = LazyLock::new(|| {
    Regex::new(r"^([-–—./*x?]{1,3}|n/?a|n\.a\.|na|nd|ns|nc|nr|none|null|nil|missing|unknown|s/d|sin dato|sin datos|non fait|inconnu)$")
        .expect("a pattern of ours compiles")
});

/// The marks among cells, each once, whatever its case.
pub(super) fn marks<'c>(cells: impl Iterator<Item = &'c Cell>) -> Vec<String> {
    let mut marks: Vec<String> = Vec::new();
    for cell in cells {
        let Cell::Text(text) = cell else { continue };
        let text = trimmed(text);
        let is_new = !marks.iter().any(|mark| folded(mark) == folded(&text));
        if MARK.is_match(&plain(&text)) && is_new {
            marks.push(text);
        }
    }
    marks
}
