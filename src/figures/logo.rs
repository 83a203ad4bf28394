//! A logo as a page may hold it: a PNG or SVG that shows a picture and does nothing else.
//!
//! What it is, its content says. A browser runs no script of a picture and loads nothing for it; a logo that asks for either is
//! refused all the same, since the page is also read by programs that are less careful. Metadata is refused: it would be
//! published with the picture, and a camera writes a place into it.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use scouting::failure::{Failure, Kind};

/// Elements of SVG 1.1 that draw, group or describe.
const DRAWING: &[&str] = &[
    "svg",
    "g",
    "defs",
    "title",
    "desc",
    "path",
    "rect",
    "circle",
    "ellipse",
    "line",
    "polyline",
    "polygon",
    "text",
    "tspan",
    "linearGradient",
    "radialGradient",
    "stop",
    "clipPath",
    "mask",
    "use",
    "symbol",
];
/// First bytes of a PNG file (ISO/IEC 15948, 5.2).
const PNG: &[u8] = b"\x89PNG\r\n\x1a\n";
/// Chunks of a PNG file that make its picture (ISO/IEC 15948, 11).
const PICTURE: &[&[u8; 4]] = &[
    b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT",
    b"bKGD", b"pHYs",
];

/// The picture as a `data:` address (RFC 2397).
///
/// # Errors
/// A [`Failure`] that says what in it a page may not hold.
pub(super) fn data_uri(bytes: &[u8]) -> Result<String, Failure> {
    let kind = match bytes.starts_with(PNG) {
        true => check_png(bytes).map(|()| "png"),
        false => std::str::from_utf8(bytes)
            .map_err(|_| "it is neither PNG nor SVG".to_owned())
            .and_then(check_svg)
            .map(|()| "svg+xml"),
    };
    let kind = kind.map_err(|why| {
        Failure::new(
            Kind::Settings,
            format!("cannot use the logo that [office] names: {why}"),
        )
        .mend(
            "save it as plain SVG without scripts, links, styles and embedded pictures, or as PNG without metadata; or leave logo \
             empty",
        )
    })?;
    Ok(format!(
        "data:image/{kind};base64,{}",
        STANDARD.encode(bytes)
    ))
}

/// Chunks of length, name, content and checksum, from IHDR to IEND and nothing after it.
fn check_png(bytes: &[u8]) -> Result<(), String> {
    let mut rest = &bytes[PNG.len()..];
    let mut first = true;
    loop {
        let cut_short = || "the PNG file ends before its picture does".to_owned();
        let (head, after) = rest.split_first_chunk::<8>().ok_or_else(cut_short)?;
        let [a, b, c, d, name @ ..] = *head;
        let length = u32::from_be_bytes([a, b, c, d]) as usize;
        if !PICTURE.contains(&&name) {
            let name = String::from_utf8_lossy(&name);
            return Err(format!("its part {name:?} is no part of the picture"));
        }
        if first && name != *b"IHDR" {
            return Err("the PNG file does not begin with its size".to_owned());
        }
        first = false;
        rest = after.get(length + 4..).ok_or_else(cut_short)?;
        if name == *b"IEND" {
            return match rest.is_empty() {
                true => Ok(()),
                false => Err("something follows the end of the picture".to_owned()),
            };
        }
    }
}

fn check_svg(text: &str) -> Result<(), String> {
    let mut reader = Reader::from_str(text);
    reader.config_mut().check_end_names = true;
    let mut elements = 0;
    let mut open = 0_u32;
    loop {
        let event = reader.read_event();
        match event.map_err(|error| format!("it is neither PNG nor SVG: {error}"))? {
            Event::Start(element) => {
                check_element(&element, elements == 0)?;
                (elements, open) = (elements + 1, open + 1);
            }
            Event::Empty(element) => {
                check_element(&element, elements == 0)?;
                elements += 1;
            }
            Event::End(_) => open = open.saturating_sub(1),
            Event::DocType(_) => return Err("it has a document type".to_owned()),
            Event::PI(_) => return Err("it has a processing instruction".to_owned()),
            Event::Eof if elements == 0 || open > 0 => {
                return Err("it is neither PNG nor SVG, or it is cut short".to_owned());
            }
            Event::Eof => return Ok(()),
            _ => {}
        }
    }
}

fn check_element(element: &BytesStart, first: bool) -> Result<(), String> {
    let name = element.name().as_ref().to_owned();
    if first && name != "svg" {
        return Err(format!(
            "it is neither PNG nor SVG: it begins with <{name}>"
        ));
    }
    if !DRAWING.contains(&&*name) {
        return Err(format!("it has an element <{name}>"));
    }
    for attribute in element.attributes() {
        let attribute = attribute.map_err(|error| format!("it is no SVG: {error}"))?;
        let key = attribute.key.as_ref().to_owned();
        let value = attribute.value.clone().into_owned();
        let plain: String = value.chars().filter(|c| !c.is_whitespace()).collect();
        let lower = plain.to_ascii_lowercase();
        // Namespaces name, and load nothing.
        let names = key == "xmlns" || key.starts_with("xmlns:");
        let loads = lower.contains("://") || lower.contains("data:") || lower.contains("script:");
        let refers = key == "href" || key.ends_with(":href");
        let bad_url = lower.replace("url(#", "").contains("url(");
        let encoded = lower.contains('&') || lower.contains('\\');
        if key.to_ascii_lowercase().starts_with("on")
            || (!names && (loads || bad_url || encoded))
            || (refers && !plain.starts_with('#'))
        {
            return Err(format!("<{name}> has {key}={value:?}"));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: &str = r##"<?xml version="1.0"?><!-- ours --><svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 8 8"><defs><linearGradient id="a"><stop offset="0" stop-color="#123"/></linearGradient></defs><path d="M0 0h8v8z" fill="url(#a)"/><use href="#a"/></svg>"##;

    fn png(chunks: &[&[u8; 4]]) -> Vec<u8> {
        let mut bytes = PNG.to_vec();
        for name in chunks {
            bytes.extend([0, 0, 0, 2]);
            bytes.extend(**name);
            bytes.extend([1, 2, 0, 0, 0, 0]);
        }
        bytes
    }

    #[test]
    fn a_plain_picture_is_taken_as_what_its_content_says() {
        let uri = data_uri(GOOD.as_bytes()).expect("a plain SVG file");
        let held = uri.strip_prefix("data:image/svg+xml;base64,");
        let held = STANDARD.decode(held.expect("an SVG picture"));
        assert_eq!(held.as_deref(), Ok(GOOD.as_bytes()));
        let uri = data_uri(&png(&[b"IHDR", b"IDAT", b"IEND"])).expect("a plain PNG file");
        assert!(uri.starts_with("data:image/png;base64,iVBOR"), "{uri}");
    }

    #[test]
    fn what_runs_loads_or_tells_of_its_maker_is_refused_by_name() {
        for (inside, says) in [
            ("<script>alert(1)</script>", "<script>"),
            ("<foreignObject/>", "<foreignObject>"),
            ("<image href=\"a.png\"/>", "<image>"),
            ("<style>@import 'a'</style>", "<style>"),
            ("<path onload=\"a()\"/>", "onload"),
            ("<use href=\"other.svg#a\"/>", "other.svg"),
            ("<path fill=\"url(https://a.example/b)\"/>", "a.example"),
            ("<path fill=\"url( x.svg#a)\"/>", "x.svg"),
            ("<use xlink:href=\"java&#115;cript:a()\"/>", "xlink:href"),
            ("<path>", "cut short"),
        ] {
            let svg = format!("<svg>{inside}</svg>").replace("<path></svg>", "<path></path>");
            let said = data_uri(svg.as_bytes()).expect_err(inside).to_string();
            assert!(said.contains(says), "{inside}: {said}");
            assert!(said.contains("[office]"), "{said}");
        }
        let entity = "<!DOCTYPE svg [<!ENTITY a 'b'>]><svg/>";
        for (bytes, says) in [
            (entity.as_bytes().to_vec(), "document type"),
            (b"<html/>".to_vec(), "begins with <html>"),
            (b"GIF89a\xff".to_vec(), "neither PNG nor SVG"),
            (Vec::new(), "neither PNG nor SVG"),
            (png(&[b"IHDR", b"eXIf", b"IEND"]), "eXIf"),
            (png(&[b"IHDR", b"tEXt", b"IEND"]), "tEXt"),
            (png(&[b"IHDR", b"IDAT"]), "ends before"),
            (png(&[b"IDAT", b"IEND"]), "begin with its size"),
            ([png(&[b"IHDR", b"IEND"]), vec![1]].concat(), "follows"),
        ] {
            let said = data_uri(&bytes).expect_err(says).to_string();
            assert!(said.contains(says), "{says}: {said}");
        }
    }
}
