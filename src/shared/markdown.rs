//! The Markdown that the program reads.

use pulldown_cmark::Options;

/// The Markdown that a note is written in.
pub fn markdown_options() -> Options {
    Options::ENABLE_TABLES
}
