//! What the charts of a page have in common: the `svg` element with its words, and how numbers become positions.
//!
//! Charts are drawn on white in fixed colors, in dark mode too, as the map is, so that a printed page and a
//! screen say the same.

use std::fmt::Write;

use askama::filters::{Html, escape};

use scouting::visit::week::IsoWeek;

/// A chart, safe to set into a page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Chart {
    /// The `svg` element, with a title and a description that says in words what it shows.
    pub svg: String,
}

/// Width of every chart in its own units; letters are 15 of them high.
pub(crate) const WIDTH: f64 = 360.0;
/// Ink of letters and of the lines that matter.
pub(crate) const INK: &str = "#1a2230";
/// Ink of what only helps to read.
pub(crate) const FAINT: &str = "#c9cfd8";

/// The whole `svg` element. `id` distinguishes the charts of a page.
pub(crate) fn chart(id: &str, height: f64, title: &str, description: &str, inner: &str) -> Chart {
    let (title, description) = (escaped(title), escaped(description));
    Chart {
        svg: format!(
            r#"<svg class="chart" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" role="img" aria-labelledby="{id}-title {id}-description"><title id="{id}-title">{title}</title><desc id="{id}-description">{description}</desc><g font-size="15" fill="{INK}">{inner}</g></svg>"#
        ),
    }
}

/// Where a text begins, or what it is centered on or ends at.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Anchor {
    Start,
    Middle,
    End,
}

/// Adds a line of text; `more` are attributes.
pub(crate) fn text(inner: &mut String, [x, y]: [f64; 2], anchor: Anchor, more: &str, said: &str) {
    let anchor = match anchor {
        Anchor::Start => "",
        Anchor::Middle => r#" text-anchor="middle""#,
        Anchor::End => r#" text-anchor="end""#,
    };
    // Writing to a String cannot fail.
    let _ = write!(
        inner,
        r#"<text x="{}" y="{}"{anchor}{more}>{}</text>"#,
        short(x),
        short(y),
        escaped(said)
    );
}

/// A position in tenths.
pub(crate) fn short(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

/// The number of a week, 1 to 53; `None` if it is no week.
pub(crate) fn number_of(iso_week: &str) -> Option<i64> {
    iso_week.parse::<IsoWeek>().ok()?;
    iso_week.split_once("-W")?.1.parse().ok()
}

pub(crate) fn escaped(text: &str) -> String {
    match escape(text, Html) {
        Ok(safe) => safe.to_string(),
        Err(never) => match never {},
    }
}
