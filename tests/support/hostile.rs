//! Records bent at one member.

use crate::support::full_visit;

/// The text of a good visit with one piece replaced.
pub fn bent(name: &str, from: &str, to: &str) -> String {
    let text = full_visit(name).to_string();
    assert!(text.contains(from), "{from} in {text}");
    text.replacen(from, to, 1)
}
