//! How large a note may be and how deep it may nest, looked at before anything is made of it.
//!
//! What renders Markdown takes time that grows with the square of the nesting: 20 kB of `> ` or `- ` took 10 and 38
//! seconds. So a line that opens too many blocks is refused unread, and what is left is counted as it is parsed.

use std::io::Read;
use std::path::Path;

use pulldown_cmark::{Event, Parser};

use crate::shared::markdown::markdown_options;
use scouting::failure::{Failure, Kind};

/// Longest note. A page of print has about 3 kB; a note is no second bulletin.
pub(crate) const NOTE_BYTES_MAX: usize = 20_000;
/// Deepest nesting of lists, quotations and emphasis. A note of three lists in each other in a quotation has eight;
/// our choice.
pub(crate) const NOTE_DEPTH_MAX: usize = 20;
/// Longest line that may be a rule of many dashes or stars with spaces.
const RULE_BYTES_MAX: usize = 200;

/// The text of a note's file, of which no more is read than a note may have. `place` is its name, for a failure.
///
/// # Errors
/// A [`Failure`] if it cannot be read, is longer than [`NOTE_BYTES_MAX`] or is not UTF-8.
pub(crate) fn note_text(file: impl Read, place: &Path) -> Result<String, Failure> {
    let mut bytes = Vec::new();
    file.take(NOTE_BYTES_MAX as u64 + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| Failure::file("read", place, error))?;
    let shown = place.display().to_string();
    if bytes.len() > NOTE_BYTES_MAX {
        return Err(too_long("more than").at(shown));
    }
    String::from_utf8(bytes).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        Failure::new(
            Kind::Publish,
            format!("the note is not UTF-8: byte {} is no character", at + 1),
        )
        .at(shown)
        .mend("save it as UTF-8 text")
        .caused_by(error)
    })
}

/// Whether a text is short enough, and opens no more blocks in a line than may nest.
pub(super) fn check_size(text: &str) -> Result<(), Failure> {
    if text.len() > NOTE_BYTES_MAX {
        return Err(too_long(&format!("{} bytes,", text.len())));
    }
    let mut lines = (1..).zip(text.lines());
    let deep = lines.find(|(_, line)| blocks_opened(line) > NOTE_DEPTH_MAX && !is_rule(line));
    deep.map_or(Ok(()), |(line, _)| {
        Err(too_deep().at(format!("line {line}")))
    })
}

/// Whether nothing is nested deeper than it may be; in a text that [`check_size`] has passed.
pub(super) fn check_depth(markdown: &str) -> Result<(), Failure> {
    let mut depth = 0_usize;
    for (event, range) in Parser::new_ext(markdown, markdown_options()).into_offset_iter() {
        match event {
            Event::Start(_) => depth += 1,
            Event::End(_) => depth = depth.saturating_sub(1),
            _ => {}
        }
        if depth > NOTE_DEPTH_MAX {
            let line = markdown[..range.start].matches('\n').count() + 1;
            return Err(too_deep().at(format!("line {line}")));
        }
    }
    Ok(())
}

/// How many quotations and lists a line may open: the marks before its first word.
fn blocks_opened(line: &str) -> usize {
    let mut rest = line.trim_start();
    let mut opened = 0;
    loop {
        let digits = rest.len() - rest.trim_start_matches(|c: char| c.is_ascii_digit()).len();
        let mark = match rest.as_bytes().get(digits) {
            Some(b'>' | b'-' | b'+' | b'*') if digits == 0 => 1,
            Some(b'.' | b')') if (1..=9).contains(&digits) => digits + 1,
            _ => return opened,
        };
        opened += 1;
        rest = rest[mark..].trim_start();
    }
}

/// A line of dashes, stars or underscores alone, which parts a text.
fn is_rule(line: &str) -> bool {
    let mut marks = line.chars().filter(|c| !c.is_whitespace());
    let first = marks.next();
    line.len() <= RULE_BYTES_MAX
        && matches!(first, Some('-' | '*' | '_'))
        && marks.all(|c| Some(c) == first)
}

fn too_long(found: &str) -> Failure {
    let what = match found.ends_with(',') {
        true => format!("the note has {found} {NOTE_BYTES_MAX} at the most"),
        false => format!("the note has {found} {NOTE_BYTES_MAX} bytes"),
    };
    Failure::new(Kind::Publish, what)
        .mend("shorten it; what is longer belongs on a page of its own, with a link here")
}

fn too_deep() -> Failure {
    Failure::new(
        Kind::Publish,
        format!(
            "the note nests more than {NOTE_DEPTH_MAX} lists, quotations or emphases in each other"
        ),
    )
    .mend("take marks such as \">\", \"-\" or \"*\" away until the lists and quotations are fewer")
}

#[cfg(test)]
mod tests {
    use std::time::{Duration, Instant};

    use super::*;
    use crate::alert::note::rendered::Note;

    /// Far above what it takes, far below what it took.
    const SOON: Duration = Duration::from_secs(3);

    #[test]
    fn what_nests_too_deep_is_refused_at_once_with_its_line() {
        let nested = |mark: &str, times: usize| format!("Fine.\n\n{}x", mark.repeat(times));
        let stairs: String = (0..138)
            .map(|step| format!("{}- x\n", "  ".repeat(step)))
            .collect();
        for text in [
            nested("> ", 9_900),
            nested(">", 19_000),
            nested("- ", 9_900),
            nested("* ", 9_900),
            nested("+ ", 9_900),
            nested("1. ", 6_600),
            nested("1) ", 6_600),
            nested("> - ", 4_900),
            nested("-\t", 9_900),
            nested("> ", 21),
            "- ".repeat(9_900),
            format!("{}x{}", "*a ".repeat(3_000), "*".repeat(3_000)),
            format!("{}x{}", "**".repeat(4_000), "**".repeat(4_000)),
            format!("Fine.\n\n{stairs}"),
        ] {
            let start = Instant::now();
            let read = Note::read(&text);
            assert!(
                start.elapsed() < SOON,
                "{:.20}: {:?}",
                text,
                start.elapsed()
            );
            // Emphasis that does not nest stays as it is typed.
            if let Err(refused) = read {
                let said = refused.to_string();
                assert!(said.contains("nests more than 20"), "{said}");
                assert!(said.contains("line "), "{said}");
            } else {
                assert!(text.contains("*a"), "{text:.40}");
            }
        }
    }

    #[test]
    fn what_is_long_and_flat_is_shown_at_once() {
        for text in [
            "[".repeat(19_000),
            "`".repeat(19_000) + "x",
            "<".repeat(19_000),
            "&amp;".repeat(3_900),
            "[a](".repeat(4_900),
            "![".repeat(9_900),
            "_a".repeat(9_900),
            "|a".repeat(9_000) + "\n" + &"|-".repeat(500),
            "- x\n".repeat(4_900),
            "> x\n".repeat(4_900),
            "- - - - - - - - - - - - - - - - - - - - - - - - -".to_owned(),
            "* * * * * * * * * * * * * * * * * * * * * * * * *".to_owned(),
        ] {
            let start = Instant::now();
            let read = Note::read(&text);
            assert!(read.is_ok(), "{text:.20}: {read:?}");
            assert!(
                start.elapsed() < SOON,
                "{:.20}: {:?}",
                text,
                start.elapsed()
            );
        }
    }

    #[test]
    fn no_more_of_a_file_is_read_than_a_note_may_have() {
        let place = Path::new("words.md");
        let endless = std::io::repeat(b'n');
        let refused = note_text(endless, place)
            .expect_err("it has no end")
            .to_string();
        assert!(refused.contains("more than 20000 bytes"), "{refused}");
        assert!(refused.contains("words.md"), "{refused}");
        let latin = note_text(&b"caf\xe9"[..], place)
            .expect_err("Latin-1")
            .to_string();
        assert!(latin.contains("byte 4"), "{latin}");
        assert_eq!(note_text(&b"fine"[..], place).expect("read"), "fine");
    }
}
