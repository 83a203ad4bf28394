//! What is pasted and sent, opened by other programs: a PDF reader, a strict reader of HTML, the data of what mail programs
//! support, a reader of pictures, the alphabet of text messages.

use std::path::Path;

use bractline::shared::classes::bands;
use disclosure::rule::Level;
use serde_json::Value;

use crate::judge::{node, python};
use crate::look::demo_alert;
use crate::support::text_of;

fn opened(folder: &Path) -> Value {
    let found = python("tests/reference/check_handouts.py", &[&text_of(folder)]);
    serde_json::from_str(&found).expect("JSON from a program of ours")
}

#[test]
fn other_programs_find_every_row_and_caution_in_what_is_pasted() {
    let found = opened(&demo_alert());
    assert_eq!(found["pages"], 2, "{found}");
    let colors = found["colors"].as_array().expect("colors");
    let fills = bands(Level::Survey).iter().map(|band| band.fill);
    let there = fills.filter(|fill| colors.iter().any(|color| color == fill));
    assert!(there.count() >= 2, "{found}");
}

/// What some mail programs do not support, and why a mail needs none of it: they put another element in the place of the body,
/// and keep no role of the tables that lay out the page; a line's height is taken for a height.
const HARMLESS: [&str; 3] = ["<body> element", "height property", "role attribute"];

#[test]
fn mail_programs_support_what_the_email_is_made_of() {
    let mail = text_of(&demo_alert().join("email.html"));
    let unsupported: Vec<String> =
        serde_json::from_str(&node("tests/reference/check_email.mjs", &[&mail])).expect("JSON");
    let other: Vec<_> = unsupported
        .iter()
        .filter(|title| !HARMLESS.contains(&title.as_str()))
        .collect();
    assert!(other.is_empty(), "{other:?}");
}
