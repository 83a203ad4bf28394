//! What is wrong with, or doubtful about, a record that somebody sent.
//!
//! A finding is a value, collected and reported; it never stops a run.

use serde::{Deserialize, Serialize};

use super::code::Code;

/// One thing found in one record.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Finding {
    /// What is wrong.
    pub code: Code,
    /// JSON Pointer (RFC 6901) to the member, `""` for the record as a whole.
    pub pointer: String,
    /// What was found there.
    pub found: String,
    /// What would be right.
    pub expected: String,
}

impl Finding {
    /// A finding at a JSON Pointer.
    pub fn new(
        code: Code,
        pointer: impl Into<String>,
        found: impl Into<String>,
        expected: impl Into<String>,
    ) -> Self {
        Finding {
            code,
            pointer: pointer.into(),
            found: found.into(),
            expected: expected.into(),
        }
    }
}

impl std::fmt::Display for Finding {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let pointer = if self.pointer.is_empty() {
            "the record"
        } else {
            &self.pointer
        };
        write!(
            f,
            "{} at {}: found {}; {}",
            self.code, pointer, self.found, self.expected
        )
    }
}
