//! Whole texts for people, held to the files that were read and accepted.

/// Holds a text to `tests/snapshots/NAME.snap`. `INSTA_UPDATE=always` writes the files anew: read the difference.
#[track_caller]
pub fn assert_text(name: &str, text: &str) {
    let mut settings = insta::Settings::clone_current();
    settings.set_snapshot_path(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/snapshots"));
    settings.set_prepend_module_to_snapshot(false);
    settings.set_omit_expression(true);
    settings.bind(|| insta::assert_snapshot!(name, text));
}
