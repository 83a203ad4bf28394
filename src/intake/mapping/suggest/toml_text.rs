//! Texts and lists as TOML.

/// A text as a basic string.
pub(super) fn toml_text(text: &str) -> String {
    // A JSON text is a basic string of TOML, but for one control character.
    serde_json::Value::from(text)
        .to_string()
        .replace('\u{7f}', "\\u007f")
}

/// A pattern as a literal string, which needs no second backslash; as a basic one if it cannot be.
pub(super) fn toml_pattern(pattern: &str) -> String {
    let is_literal = !pattern.contains('\'') && !pattern.chars().any(char::is_control);
    match is_literal {
        true => format!("'{pattern}'"),
        false => toml_text(pattern),
    }
}

/// Texts as an array.
pub(super) fn toml_list(texts: impl IntoIterator<Item = impl AsRef<str>>) -> String {
    let texts = texts.into_iter().map(|text| toml_text(text.as_ref()));
    format!("[{}]", texts.collect::<Vec<_>>().join(", "))
}

/// Texts and what they mean as an inline table.
pub(super) fn toml_table(pairs: &[(String, &str)]) -> String {
    let pairs = pairs
        .iter()
        .map(|(text, value)| format!("{} = {}", toml_text(text), toml_text(value)));
    format!("{{ {} }}", pairs.collect::<Vec<_>>().join(", "))
}
