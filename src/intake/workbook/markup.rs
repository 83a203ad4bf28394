//! The tags of an XML text, one after the other, in little memory, and a refusal of what no spreadsheet
//! program writes.
//!
//! This is no XML reader: it makes nothing of the text. It runs before the reader that does, which buffers
//! whole comments, loops where an end tag is missing and trusts the counts that it finds. Therefore it is
//! stricter than XML: no document type (so no entities of its own), no encoding but UTF-8, every tag closed.
//!
//! The crate `quick-xml` cannot do this in our place: it hands out whole events, so a comment or an attribute of
//! a gibibyte is in memory before its length can be asked.

use std::io::BufRead;

use memchr::memmem::Finder;
use memchr::{memchr, memrchr};

/// A longer text between two tags is no text of a cell.
const TEXT_BYTES_MAX: usize = 1 << 20;
/// The longest tags of real workbooks list the ranges of a rule.
const TAG_BYTES_MAX: usize = 64 << 10;
const DEPTH_MAX: usize = 128;

/// Why a text is not handed on, for people; or that it could not be read.
#[derive(Debug)]
pub(crate) enum Refusal {
    /// What it holds.
    Holds(String),
    /// The content breaks off or cannot be unpacked.
    Unreadable(std::io::Error),
    /// It is sealed with a password.
    Password,
}

impl Refusal {
    /// It holds this.
    pub(crate) fn holds(what: impl Into<String>) -> Refusal {
        Refusal::Holds(what.into())
    }
}

impl From<std::io::Error> for Refusal {
    fn from(error: std::io::Error) -> Refusal {
        Refusal::Unreadable(error)
    }
}

/// Looks at tags and text as they are read.
pub(crate) trait Watch {
    /// A tag that opens an element; one that closes itself is followed by its [`Watch::close`].
    fn open(&mut self, tag: &Tag) -> Result<(), Refusal>;
    /// The end of an element, by the name without its prefix.
    fn close(&mut self, name: &str) -> Result<(), Refusal>;
    /// So many bytes of text.
    fn text(&mut self, bytes: usize) -> Result<(), Refusal>;
}

/// An opening tag.
pub(crate) struct Tag<'a> {
    inside: &'a str,
    /// How many elements enclose it.
    pub depth: usize,
}

impl<'a> Tag<'a> {
    /// Everything between the brackets.
    pub(crate) fn inside(&self) -> &'a str {
        self.inside
    }

    /// The element's name without its prefix.
    pub(crate) fn name(&self) -> &'a str {
        local(full_name(self.inside))
    }

    /// Its attributes: names without prefix, values as they are written.
    pub(crate) fn attributes(&self) -> impl Iterator<Item = (&'a str, &'a str)> + use<'a> {
        let mut rest = &self.inside[full_name(self.inside).len()..];
        std::iter::from_fn(move || {
            let (name, value, after) = next_attribute(rest)?;
            rest = after;
            Some((local(name), value))
        })
    }

    /// The values of the attributes of this name without prefix: with several prefixes there can be several.
    pub(crate) fn values(&self, name: &str) -> impl Iterator<Item = &'a str> {
        self.attributes()
            .filter(move |(candidate, _)| *candidate == name)
            .map(|(_, value)| value)
    }

    /// A reader may understand a tag that is not well written in another way than [`Tag::attributes`].
    fn is_well_written(&self) -> bool {
        let mut names: Vec<&str> = Vec::new();
        let mut rest = &self.inside[full_name(self.inside).len()..];
        while let Some((name, value, after)) = next_attribute(rest) {
            let odd = |letter: char| letter.is_ascii_whitespace() || "\"'<".contains(letter);
            if name.is_empty() || name.contains(odd) || value.contains('<') {
                return false;
            }
            names.push(name);
            rest = after;
        }
        let written = names.len();
        if written > 1 {
            names.sort_unstable();
            names.dedup();
        }
        names.len() == written && rest.trim_ascii().is_empty()
    }
}

/// The next attribute with its prefix, its value, and what follows it.
fn next_attribute(rest: &str) -> Option<(&str, &str, &str)> {
    let (name, after) = rest.split_once('=')?;
    let after = after.trim_ascii_start();
    let quote = after.chars().next().filter(|mark| "\"'".contains(*mark))?;
    let (value, after) = after[1..].split_once(quote)?;
    Some((name.trim_ascii(), value, after))
}

fn full_name(inside: &str) -> &str {
    let end = inside
        .bytes()
        .position(|byte| byte.is_ascii_whitespace() || byte == b'/')
        .unwrap_or(inside.len());
    &inside[..end]
}

fn local(name: &str) -> &str {
    let colon = memrchr(b':', name.as_bytes());
    colon.map_or(name, |colon| &name[colon + 1..])
}

/// Reads a text to its end.
///
/// # Errors
/// The first thing that is no spreadsheet program's, or that the watch refuses.
pub(crate) fn read(source: &mut dyn BufRead, watch: &mut dyn Watch) -> Result<(), Refusal> {
    let mut open = OpenElements::default();
    let mut piece = Vec::new();
    loop {
        let text = skip_text(source)?;
        if text > 0 {
            watch.text(text)?;
        }
        piece.clear();
        if !read_piece(source, &mut piece)? {
            break;
        }
        let piece =
            std::str::from_utf8(&piece).map_err(|_| Refusal::holds("XML that is not UTF-8"))?;
        if memchr(0, piece.as_bytes()).is_some() {
            return Err(Refusal::holds("XML that is not UTF-8"));
        }
        if let Some(instruction) = piece.strip_prefix('?') {
            only_utf8(instruction)?;
        } else if piece.starts_with('!') {
            watch.text(piece.len())?;
        } else if let Some(name) = piece.strip_prefix('/') {
            watch.close(open.close(name.trim_ascii_end())?)?;
        } else {
            let empty = piece.ends_with('/');
            let inside = piece.strip_suffix('/').unwrap_or(piece);
            let tag = Tag {
                inside,
                depth: open.depth(),
            };
            if !tag.is_well_written() {
                return Err(Refusal::holds("XML with a tag that is not well written"));
            }
            watch.open(&tag)?;
            if empty {
                watch.close(tag.name())?;
            } else {
                open.open(full_name(inside))?;
            }
        }
    }
    if open.depth() > 0 {
        return Err(Refusal::holds("XML that breaks off"));
    }
    Ok(())
}

/// The names of the elements that are open, in one string.
#[derive(Default)]
struct OpenElements {
    names: String,
    starts: Vec<usize>,
    closed: String,
}

impl OpenElements {
    fn depth(&self) -> usize {
        self.starts.len()
    }

    fn open(&mut self, name: &str) -> Result<(), Refusal> {
        if self.depth() == DEPTH_MAX {
            return Err(Refusal::holds(format!(
                "XML more than {DEPTH_MAX} elements deep"
            )));
        }
        self.starts.push(self.names.len());
        self.names.push_str(name);
        Ok(())
    }

    fn close(&mut self, name: &str) -> Result<&str, Refusal> {
        let start = self.starts.pop();
        let opened = start.map(|start| &self.names[start..]);
        if opened != Some(name) {
            return Err(Refusal::holds("XML whose tags do not match"));
        }
        self.names.truncate(start.unwrap_or_default());
        self.closed.clear();
        self.closed.push_str(local(name));
        Ok(&self.closed)
    }
}

/// An XML declaration may name no encoding but the one that is read.
fn only_utf8(instruction: &str) -> Result<(), Refusal> {
    let Some((_, declared)) = instruction.split_once("encoding") else {
        return Ok(());
    };
    let declared = declared
        .trim_start_matches(|letter: char| "='\"".contains(letter) || letter.is_ascii_whitespace())
        .to_ascii_lowercase();
    if declared.starts_with("utf-8") || declared.starts_with("us-ascii") {
        Ok(())
    } else {
        Err(Refusal::holds("XML that is not UTF-8"))
    }
}

/// Skips to behind the next `<`, or to the end; how many bytes were skipped.
fn skip_text(source: &mut dyn BufRead) -> Result<usize, Refusal> {
    let mut bytes = 0;
    loop {
        let block = source.fill_buf()?;
        let end = memchr(b'<', block);
        let text = &block[..end.unwrap_or(block.len())];
        if memchr(0, text).is_some() {
            return Err(Refusal::holds("XML that is not UTF-8"));
        }
        bytes += text.len();
        if bytes > TEXT_BYTES_MAX {
            return Err(too_long("a text", TEXT_BYTES_MAX));
        }
        let (at_end, taken) = (block.is_empty(), text.len() + usize::from(end.is_some()));
        source.consume(taken);
        if at_end || end.is_some() {
            return Ok(bytes);
        }
    }
}

/// Reads what is between `<` and its `>`; `false` if the text is at its end.
fn read_piece(source: &mut dyn BufRead, piece: &mut Vec<u8>) -> Result<bool, Refusal> {
    let mut searched = 0;
    let mut quote = None;
    loop {
        let block = source.fill_buf()?;
        if block.is_empty() {
            return match piece.is_empty() {
                true => Ok(false),
                false => Err(Refusal::holds("XML that breaks off")),
            };
        }
        let end = memchr(b'>', block);
        let taken = end.map_or(block.len(), |end| end + 1);
        piece.extend_from_slice(&block[..taken]);
        source.consume(taken);
        let limit = if piece.starts_with(b"!") {
            TEXT_BYTES_MAX
        } else {
            TAG_BYTES_MAX
        };
        if piece.len() > limit {
            return Err(too_long("a tag or comment", limit));
        }
        if end.is_some() && is_whole(piece, &mut searched, &mut quote)? {
            piece.pop();
            return Ok(true);
        }
    }
}

/// Whether the `>` at the end of the piece is the one that ends it.
fn is_whole(piece: &[u8], searched: &mut usize, quote: &mut Option<u8>) -> Result<bool, Refusal> {
    match piece {
        [b'!', b'-', b'-', comment @ ..] => Ok(comment.ends_with(b"-->")),
        [b'!', b'[', b'C', b'D', b'A', b'T', b'A', b'[', ..] => Ok(piece.ends_with(b"]]>")),
        [b'!', ..] => Err(Refusal::holds(
            "a document type of its own (an XML trick; no spreadsheet program writes one)",
        )),
        [b'?', ..] => Ok(piece.ends_with(b"?>")),
        _ => {
            for &byte in &piece[*searched..] {
                match quote {
                    Some(mark) if *mark == byte => *quote = None,
                    None if matches!(byte, b'"' | b'\'') => *quote = Some(byte),
                    _ => {}
                }
            }
            *searched = piece.len();
            Ok(quote.is_none())
        }
    }
}

fn too_long(what: &str, limit: usize) -> Refusal {
    Refusal::holds(format!("{what} of more than {limit} bytes"))
}

/// Whether bytes hold one of the marks that begin an entry of a zip archive's directory, and how often.
pub(crate) fn occurrences(mark: &[u8], bytes: &[u8]) -> usize {
    Finder::new(mark).find_iter(bytes).count()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Default)]
    struct Log(Vec<String>);

    impl Watch for Log {
        fn open(&mut self, tag: &Tag) -> Result<(), Refusal> {
            let attributes: Vec<_> = tag
                .attributes()
                .map(|(name, value)| format!("{name}={value}"))
                .collect();
            self.0.push(format!(
                "{}<{} {}",
                tag.depth,
                tag.name(),
                attributes.join(" ")
            ));
            Ok(())
        }
        fn close(&mut self, name: &str) -> Result<(), Refusal> {
            self.0.push(format!(">{name}"));
            Ok(())
        }
        fn text(&mut self, bytes: usize) -> Result<(), Refusal> {
            self.0.push(bytes.to_string());
            Ok(())
        }
    }

    fn log(xml: &[u8], block: usize) -> Result<Vec<String>, Refusal> {
        let mut log = Log::default();
        read(&mut std::io::BufReader::with_capacity(block, xml), &mut log)?;
        Ok(log.0)
    }

    #[test]
    fn tags_go_by_in_order_whatever_the_blocks() {
        let xml = b"<?xml version=\"1.0\" encoding='UTF-8'?><x:a b = \"1>2\" y:c='\"'>text<d/><!-- > --></x:a >";
        for block in [1, 2, 7, 4096] {
            let seen = log(xml, block).unwrap();
            assert_eq!(
                seen,
                ["0<a b=1>2 c=\"", "4", "1<d ", ">d", "8", ">a"],
                "{block}"
            );
        }
    }

    #[test]
    fn what_no_spreadsheet_program_writes_is_refused() {
        let long_comment = [&b"<a><!-- "[..], &vec![b'x'; 2 << 20], b" --></a>"].concat();
        let deep = b"<a>".repeat(200);
        let utf16: Vec<u8> = "<a/>".encode_utf16().flat_map(u16::to_le_bytes).collect();
        let cases: [(&[u8], &str); 13] = [
            (b"<a b=1 c=\"2\"/>", "well written"),
            (b"<a b=\"1\" b=\"2\"/>", "well written"),
            (b"<a b=\"<c\"/>", "well written"),
            (
                b"<!DOCTYPE a [<!ENTITY b \"c\">]><a>&b;</a>",
                "document type",
            ),
            (b"<a><b></a></b>", "do not match"),
            (b"<a><b></b>", "breaks off"),
            (b"<a", "breaks off"),
            (b"</a>", "do not match"),
            (b"<?xml encoding=\"utf-16\"?><a/>", "UTF-8"),
            (b"<a b=\"\xff\"/>", "UTF-8"),
            (&utf16, "UTF-8"),
            (&long_comment, "bytes"),
            (&deep, "deep"),
        ];
        for (xml, reason) in cases {
            let refusal = log(xml, 512).unwrap_err();
            assert!(
                format!("{refusal:?}").contains(reason),
                "{reason}: {refusal:?}"
            );
        }
    }
}
