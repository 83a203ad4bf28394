//! The banner of a published page that leads to a newer alert of its week.
//!
//! What was issued never changes: the banner is put into the copy at the public place, between two marks right after the
//! beginning of the page's body, and whoever takes it out has the bytes that were issued.

use super::listed::Listed;
use crate::alert::issue::facts::folder_name;
use crate::shared::chart::escaped;
use crate::shared::shown_days::moment_in_words;
use crate::shared::unseen::seen_text;
use scouting::failure::{Failure, Kind};

/// Marks of a banner's ends.
const START: &str = "<!--newer-->";
const END: &str = "<!--/newer-->";

/// The banner that leads to this alert.
pub(super) fn banner(newer: &Listed) -> String {
    let link = format!(
        r#"<a href="../{}/alert.html">alert {}</a>"#,
        folder_name(newer.number),
        newer.number
    );
    let said = match &newer.withdrawn {
        Some((_, reason)) => format!(
            "This alert was replaced by {link}, which was withdrawn: {}",
            escaped(&seen_text(reason))
        ),
        None => format!(
            "There is a newer alert of this week: {link}, issued {}.",
            moment_in_words(newer.issued_at)
        ),
    };
    // The class is one that every page of an alert has had.
    format!(r#"{START}<aside class="invented" aria-label="Newer alert">{said}</aside>{END}"#)
}

/// The page with a banner.
///
/// # Errors
/// A [`Failure`] if it has no body to begin with it.
pub(super) fn with_banner(page: &[u8], banner: &str) -> Result<Vec<u8>, Failure> {
    let at = body_of(page).ok_or_else(|| {
        Failure::new(
            Kind::Publish,
            "publishing stopped, nothing was written: the page of an alert has no body for the link to a newer one",
        )
        .mend("withdraw that alert: bractline alert --withdraw NUMBER --reason TEXT")
    })?;
    Ok([&page[..at], banner.as_bytes(), &page[at..]].concat())
}

/// The page without the banner that it has, if it has one.
pub(super) fn without_banner(page: &[u8]) -> Vec<u8> {
    let found = body_of(page).and_then(|at| {
        let rest = page[at..].strip_prefix(START.as_bytes())?;
        let end = place_of(rest, END)? + END.len();
        Some([&page[..at], &rest[end..]].concat())
    });
    found.unwrap_or_else(|| page.to_vec())
}

/// Where the body of a page begins, right after its tag.
fn body_of(page: &[u8]) -> Option<usize> {
    let tag = place_of(page, "<body")?;
    Some(tag + place_of(&page[tag..], ">")? + 1)
}

fn place_of(bytes: &[u8], text: &str) -> Option<usize> {
    let mut windows = bytes.windows(text.len());
    windows.position(|window| window == text.as_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_without_its_banner_is_the_page_that_was_issued() {
        let page = b"<head></head><body class=\"a\">\n<p>text <!--newer--> \xff</p>".to_vec();
        let banner = format!("{START}<aside>newer</aside>{END}");
        let shown = with_banner(&page, &banner).expect("a body");
        assert_ne!(shown, page);
        assert_eq!(without_banner(&shown), page);
        assert_eq!(without_banner(&page), page);
        // A mark that is not closed is none.
        let open = with_banner(&page, START).expect("a body");
        assert_eq!(without_banner(&open), open);
        assert!(with_banner(b"<p>", &banner).is_err());
    }
}
