//! The entomologist's own words: Markdown as written, made safe to set into a page or an e-mail.
//!
//! Text, lists, tables, emphasis and links to the web or an address stay; images, markup and every other link
//! become the characters that they are written with. Says nothing of its own, and invents no author.

use std::collections::BTreeSet;

use pulldown_cmark::{Event, HeadingLevel, Parser, Tag, TagEnd};
use url::Url;

use super::bounds::{check_depth, check_size};
use super::tables::with_even_tables;
use crate::shared::markdown::{escaped, markdown_options};
use crate::shared::unseen::is_unseen;
use scouting::failure::{Failure, Kind};

/// What a link may lead to.
const SCHEMES: [&str; 3] = ["http", "https", "mailto"];
/// What a page may show in the note's place.
const TAGS: [&str; 22] = [
    "a",
    "blockquote",
    "br",
    "code",
    "em",
    "h3",
    "h4",
    "h5",
    "h6",
    "hr",
    "li",
    "ol",
    "p",
    "pre",
    "strong",
    "table",
    "tbody",
    "td",
    "th",
    "thead",
    "tr",
    "ul",
];
/// An escape may bring to light what it covered; a note that is still not plain after so many rounds
/// is shown as it is typed.
const ROUNDS_MAX: usize = 8;

/// A note that may be shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    markdown: String,
    html: String,
}

impl Note {
    /// Reads a note from Markdown (CommonMark, and the tables of GitHub Flavored Markdown).
    ///
    /// # Errors
    /// A [`Failure`] if it is longer than [`super::bounds::NOTE_BYTES_MAX`], nests deeper than
    /// [`NOTE_DEPTH_MAX`](super::bounds::NOTE_DEPTH_MAX), has a row of a table that is longer than its heading,
    /// or says nothing.
    pub fn read(text: &str) -> Result<Note, Failure> {
        check_size(text)?;
        let text = seen(text);
        // Again: what is not seen may have been between the marks.
        check_size(&text)?;
        check_depth(&text)?;
        let markdown = with_even_tables(&disarmed(&text))?;
        check_depth(&markdown)?;
        if markdown.trim().is_empty() {
            return Err(Failure::new(Kind::Publish, "the note is empty")
                .mend("write a comment in it, or leave --note out"));
        }
        Ok(Note {
            html: safe_html(&markdown),
            markdown,
        })
    }

    /// The note as Markdown that holds no markup, no image and no link but to the web or an address.
    pub fn markdown(&self) -> &str {
        &self.markdown
    }

    /// The note as HTML that is safe to set into a page.
    pub fn html(&self) -> &str {
        &self.html
    }
}

/// The text without what is not seen, with one kind of line end.
fn seen(text: &str) -> String {
    let text = text.trim_start_matches('\u{feff}').replace("\r\n", "\n");
    let stays = |c: &char| matches!(c, '\n' | '\t') || !is_unseen(*c);
    let text: String = text.replace('\r', "\n").chars().filter(stays).collect();
    text.trim().to_owned() + "\n"
}

/// Escapes the first characters of everything that is not allowed, until nothing such is left.
fn disarmed(text: &str) -> String {
    let mut text = text.to_owned();
    for _ in 0..ROUNDS_MAX {
        let places = places_to_escape(&text);
        if places.is_empty() {
            return text;
        }
        for place in places.into_iter().rev() {
            text.insert(place, '\\');
        }
    }
    escaped(&text)
}

/// The places that need a backslash, in ascending order.
fn places_to_escape(text: &str) -> BTreeSet<usize> {
    let mut places = BTreeSet::new();
    for (event, range) in Parser::new_ext(text, markdown_options()).into_offset_iter() {
        match event {
            // A block of markup comes line by line; an escape within a line makes it text.
            Event::Html(_) | Event::InlineHtml(_) => {
                let found = text[range.clone()].match_indices('<');
                places.extend(found.map(|(place, _)| range.start + place));
            }
            Event::Start(Tag::Image { .. }) => {
                places.extend([range.start, range.start + 1]);
            }
            Event::Start(Tag::Link { dest_url, .. }) if !may_be_linked(&dest_url) => {
                places.insert(range.start);
            }
            _ => {}
        }
    }
    places
}

fn may_be_linked(target: &str) -> bool {
    Url::parse(target).is_ok_and(|url| SCHEMES.contains(&url.scheme()))
        // An address in angle brackets comes without its scheme.
        || (target.contains('@') && Url::parse(&format!("mailto:{target}")).is_ok() && !target.contains([':', '/']))
}

fn safe_html(markdown: &str) -> String {
    let highest = Parser::new_ext(markdown, markdown_options())
        .filter_map(|event| match event {
            Event::Start(Tag::Heading { level, .. }) => Some(level as usize),
            _ => None,
        })
        .min()
        .unwrap_or(1);
    let below_the_note = |level| below_the_note(level, highest);
    let events = Parser::new_ext(markdown, markdown_options()).map(|event| match event {
        // The note is under a heading of the second rank.
        Event::Start(Tag::Heading {
            level,
            id,
            classes,
            attrs,
        }) => Event::Start(Tag::Heading {
            level: below_the_note(level),
            id,
            classes,
            attrs,
        }),
        Event::End(TagEnd::Heading(level)) => Event::End(TagEnd::Heading(below_the_note(level))),
        other => other,
    });
    let mut html = String::new();
    pulldown_cmark::html::push_html(&mut html, events);
    ammonia::Builder::empty()
        .tags(TAGS.into_iter().collect())
        .tag_attributes(
            [("a", ["href"].into_iter().collect())]
                .into_iter()
                .collect(),
        )
        .url_schemes(SCHEMES.into_iter().collect())
        .url_relative(ammonia::UrlRelative::Deny)
        .link_rel(Some("nofollow noopener noreferrer"))
        .clean(&html)
        .to_string()
}

/// The note's highest heading becomes one of the third rank, and none below it skips a rank that it did not skip.
fn below_the_note(level: HeadingLevel, highest: usize) -> HeadingLevel {
    match level as usize - highest {
        0 => HeadingLevel::H3,
        1 => HeadingLevel::H4,
        2 => HeadingLevel::H5,
        _ => HeadingLevel::H6,
    }
}

#[cfg(test)]
mod tests {
    use super::super::bounds::NOTE_BYTES_MAX;
    use super::*;

    fn note(text: &str) -> Note {
        Note::read(text).expect("a note")
    }

    #[test]
    fn words_lists_emphasis_and_links_to_the_web_stay() {
        let note = note(
            "# Flight\r\n\r\nMoths *fly* **now**; see [the guide](https://example.org/a).\r\n\r\n- one\r\n- two\r\n\r\n<desk@example.org>",
        );
        assert_eq!(
            note.html(),
            "<h3>Flight</h3>\n<p>Moths <em>fly</em> <strong>now</strong>; see <a href=\"https://example.org/a\" \
             rel=\"nofollow noopener noreferrer\">the guide</a>.</p>\n<ul>\n<li>one</li>\n<li>two</li>\n</ul>\n\
             <p><a href=\"mailto:desk@example.org\" rel=\"nofollow noopener noreferrer\">desk@example.org</a></p>\n"
        );
        assert!(note.markdown().starts_with("# Flight\n\nMoths *fly*"));
    }

    #[test]
    fn markup_images_and_other_links_become_their_characters_in_both_forms() {
        for attack in [
            "<script>alert(1)</script>",
            "a <img src=x onerror=alert(1)> b",
            "<!-- <b> -->",
            "<div>\n<b>bold</b>\n</div>",
            "![pixel](https://example.org/p.png)",
            "![![a](b)](c)",
            "[x](javascript:alert(1))",
            "[x](&#106;avascript:alert(1))",
            "<javascript:alert(1)>",
            "[x][1]\n\n[1]: data:text/html,x",
            "[rel](../other.html)",
            "<https://example.org/a><iframe src=x>",
            "[<b>](https://example.org)",
        ] {
            let note = note(attack);
            let shown = note.html();
            for tag in [
                "<script",
                "<img",
                "<!--",
                "<div",
                "<b>",
                "<iframe",
                "javascript:alert(1)\"",
                "href=\"data",
                "href=\"..",
            ] {
                assert!(!shown.contains(tag), "{attack}: {shown}");
            }
            let again = Parser::new_ext(note.markdown(), markdown_options());
            for event in again {
                let active = match &event {
                    Event::Html(_) | Event::InlineHtml(_) => true,
                    Event::Start(Tag::Image { .. }) => true,
                    Event::Start(Tag::Link { dest_url, .. }) => !may_be_linked(dest_url),
                    _ => false,
                };
                assert!(!active, "{attack}: {event:?} in {:?}", note.markdown());
            }
        }
    }

    #[test]
    fn marks_of_direction_are_gone_and_emoji_stay() {
        let note = note("a\u{202e}b\u{2066}c\u{0}d 🌻👩\u{200d}🌾 \u{5d0}\u{5d1}");
        assert_eq!(note.html(), "<p>abcd 🌻👩\u{200d}🌾 \u{5d0}\u{5d1}</p>\n");
    }

    #[test]
    fn a_note_that_is_too_long_or_empty_is_refused() {
        assert!(Note::read(&"n".repeat(10_000)).is_ok());
        let long = Note::read(&"n".repeat(NOTE_BYTES_MAX + 1)).expect_err("too long");
        assert!(long.to_string().contains("20001 bytes"), "{long}");
        for empty in ["", " \r\n\t", "\u{feff}", "\u{202e}\u{0}"] {
            let empty = Note::read(empty).expect_err("empty");
            assert!(empty.to_string().contains("is empty"), "{empty}");
        }
    }
}
