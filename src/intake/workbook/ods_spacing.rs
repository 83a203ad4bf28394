//! An OpenDocument sheet that was laid out for people to read its XML: the same without the spaces and comments
//! between its tags, which mean nothing there and which the reader of workbooks does not expect.
//!
//! Within a paragraph every space counts and stays. What the tags say is no business of this file.

use std::io::{Cursor, Write};

use memchr::{memchr, memmem};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

use crate::workbook::package::{Package, damaged};
use scouting::failure::Failure;

/// Size of a content that is copied.
const CONTENT_BYTES_MAX: u64 = 16 << 20;

/// The document in memory, with what its reader asks for close together. `name` is for messages.
///
/// # Errors
/// If a part is missing or larger than is copied.
pub(crate) fn close_together(
    package: &mut Package,
    name: &str,
) -> Result<Cursor<Vec<u8>>, Failure> {
    let stored = SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    for part in ["mimetype", "META-INF/manifest.xml", "content.xml"] {
        let bytes = without_spaces(package.part(part, CONTENT_BYTES_MAX)?);
        archive
            .start_file(part, stored)
            .map_err(|error| damaged(name, error))?;
        archive
            .write_all(&bytes)
            .map_err(|error| damaged(name, error))?;
    }
    archive.finish().map_err(|error| damaged(name, error))
}

/// Leaves out what is white space alone, and comments, where no paragraph is open. The tags match, as the watch of
/// the package saw.
fn without_spaces(xml: Vec<u8>) -> Vec<u8> {
    let mut out = Vec::with_capacity(xml.len());
    let mut rest = &xml[..];
    let mut paragraphs = 0_usize;
    while !rest.is_empty() {
        let (text, after) = rest.split_at(memchr(b'<', rest).unwrap_or(rest.len()));
        if paragraphs > 0 || !text.trim_ascii().is_empty() {
            out.extend_from_slice(text);
        }
        let (piece, after) = after.split_at(end_of_piece(after));
        rest = after;
        if is_paragraph(piece) {
            match piece {
                [b'<', b'/', ..] => paragraphs = paragraphs.saturating_sub(1),
                [.., b'/', b'>'] => {}
                _ => paragraphs += 1,
            }
        }
        if paragraphs > 0 || !piece.starts_with(b"<!--") {
            out.extend_from_slice(piece);
        }
    }
    out
}

/// How long the tag, comment or other piece is that a text begins with.
fn end_of_piece(text: &[u8]) -> usize {
    let up_to = |end: &[u8]| memmem::find(text, end).map_or(text.len(), |at| at + end.len());
    if text.starts_with(b"<!--") {
        return up_to(b"-->");
    }
    if text.starts_with(b"<![CDATA[") {
        return up_to(b"]]>");
    }
    let mut quote = None;
    for (place, letter) in text.iter().enumerate() {
        match (quote, letter) {
            (None, b'>') => return place + 1,
            (None, b'"' | b'\'') => quote = Some(*letter),
            (Some(open), letter) if open == *letter => quote = None,
            _ => {}
        }
    }
    text.len()
}

/// Whether a piece opens or closes a paragraph or a heading, whatever its prefix.
fn is_paragraph(piece: &[u8]) -> bool {
    let inside = piece.strip_prefix(b"<").unwrap_or(piece);
    let inside = inside.strip_prefix(b"/").unwrap_or(inside);
    let is_end = |letter: &u8| letter.is_ascii_whitespace() || matches!(letter, b'/' | b'>');
    let end = inside.iter().position(is_end).unwrap_or(inside.len());
    let name = &inside[..end];
    let local = name.rsplit(|letter| *letter == b':').next();
    matches!(local, Some(b"p" | b"h"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spaces_between_tags_go_and_those_of_a_text_stay() {
        let cases = [
            ("<a>\n  <b/>\n</a>\n", "<a><b/></a>"),
            (
                "<c> <text:p>two <s>  </s>\n words</text:p> <!-- why --> </c>",
                "<c><text:p>two <s>  </s>\n words</text:p></c>",
            ),
            (
                "<c>\n<text:p/>\n<text:h>x </text:h> </c>",
                "<c><text:p/><text:h>x </text:h></c>",
            ),
            (
                "<c v=\"a > b\"> said <d w='\"> '/> </c>",
                "<c v=\"a > b\"> said <d w='\"> '/></c>",
            ),
            (
                "<p><!-- kept --> </p> <![CDATA[ > ]]> <pp> </pp>",
                "<p><!-- kept --> </p><![CDATA[ > ]]><pp></pp>",
            ),
        ];
        for (xml, wanted) in cases {
            let out = without_spaces(xml.as_bytes().to_vec());
            assert_eq!(String::from_utf8_lossy(&out), wanted, "{xml}");
        }
    }
}
