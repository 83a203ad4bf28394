//! The characters of a text file: UTF-8, UTF-16 with its mark, else Windows-1252.
//!
//! Nothing is replaced in silence: what cannot be read stops the file and is named by its byte and line.

use chardetng::{EncodingDetector, Iso2022JpDetection, Utf8Detection};
use encoding_rs::{Encoding, ISO_8859_2, ISO_8859_4, ISO_8859_15, WINDOWS_1250, WINDOWS_1252};
use encoding_rs::{WINDOWS_1254, WINDOWS_1257};

use scouting::failure::{Failure, Kind};

const UTF8_MARK: &[u8] = b"\xef\xbb\xbf";
const UTF16_LE_MARK: &[u8] = b"\xff\xfe";
const UTF16_BE_MARK: &[u8] = b"\xfe\xff";

/// Whether content begins with a mark of UTF-16.
pub(crate) fn is_utf16(start: &[u8]) -> bool {
    start.starts_with(UTF16_LE_MARK) || start.starts_with(UTF16_BE_MARK)
}

/// The text of a file, without a mark at its beginning.
///
/// # Errors
/// At the first byte that is no character.
pub(crate) fn decode(bytes: Vec<u8>, name: &str) -> Result<String, Failure> {
    if is_utf16(&bytes) || bytes.starts_with(UTF8_MARK) {
        return decode_marked(&bytes, name);
    }
    if let Some(place) = memchr::memchr(0, &bytes) {
        return Err(no_character(&bytes, place, name, "a zero byte")
            .mend("if it is UTF-16 without a mark, or no text at all: save it as UTF-8"));
    }
    match String::from_utf8(bytes) {
        Ok(text) => Ok(text),
        Err(error) if is_damaged_utf8(error.as_bytes()) => {
            let place = error.utf8_error().valid_up_to();
            Err(no_utf8(error.as_bytes(), place, name))
        }
        Err(error) => windows_1252(error.as_bytes(), name),
    }
}

fn decode_marked(bytes: &[u8], name: &str) -> Result<String, Failure> {
    if let Some(units) = bytes.strip_prefix(UTF16_LE_MARK) {
        return utf16(units, u16::from_le_bytes, name);
    }
    if let Some(units) = bytes.strip_prefix(UTF16_BE_MARK) {
        return utf16(units, u16::from_be_bytes, name);
    }
    let marked = bytes.strip_prefix(UTF8_MARK).unwrap_or(bytes);
    match std::str::from_utf8(marked) {
        Ok(text) => Ok(text.to_owned()),
        Err(error) => Err(no_utf8(bytes, error.valid_up_to() + UTF8_MARK.len(), name)),
    }
}

fn no_utf8(bytes: &[u8], place: usize, name: &str) -> Failure {
    no_character(bytes, place, name, "no UTF-8 like the rest")
}

/// The beginning of a file as text, good enough to look for separators; what is cut off is left out.
pub(crate) fn decode_start(start: &[u8]) -> String {
    let encoding = Encoding::for_bom(start).map_or(WINDOWS_1252, |(encoding, _)| encoding);
    let (text, _) = match std::str::from_utf8(start) {
        Err(error) if error.error_len().is_some() => encoding.decode_with_bom_removal(start),
        _ => Encoding::for_bom(start)
            .map_or(encoding_rs::UTF_8, |(encoding, _)| encoding)
            .decode_with_bom_removal(start),
    };
    text.into_owned()
}

fn utf16(bytes: &[u8], unit: fn([u8; 2]) -> u16, name: &str) -> Result<String, Failure> {
    let (pairs, rest) = bytes.as_chunks::<2>();
    let mut text = String::with_capacity(bytes.len() / 2);
    let mut place = 2;
    let broken = |text: &str, place: usize| {
        let line = text.matches('\n').count() + 1;
        let what = format!("cannot read {name}: byte {place} is no character in UTF-16");
        Failure::new(Kind::Submission, what)
            .at(format!("line {line}"))
            .mend("save it as UTF-8 and submit it again")
    };
    for letter in char::decode_utf16(pairs.iter().map(|pair| unit(*pair))) {
        match letter {
            Ok('\0') | Err(_) => return Err(broken(&text, place)),
            Ok(letter) => {
                place += 2 * letter.len_utf16();
                text.push(letter);
            }
        }
    }
    match rest {
        [] => Ok(text),
        _ => Err(broken(&text, place)),
    }
}

/// Whether there are more characters of several bytes in UTF-8 than bytes that are none: then the file is
/// UTF-8 with a fault, not another encoding.
fn is_damaged_utf8(bytes: &[u8]) -> bool {
    let (mut sound, mut unsound) = (0, 0);
    for chunk in bytes.utf8_chunks() {
        sound += chunk
            .valid()
            .chars()
            .filter(|letter| !letter.is_ascii())
            .count();
        unsound += usize::from(!chunk.invalid().is_empty());
    }
    sound > unsound
}

fn windows_1252(bytes: &[u8], name: &str) -> Result<String, Failure> {
    let high = |byte: &u8| !byte.is_ascii();
    // Five bytes mean nothing in Windows-1252.
    let unused = |byte: &u8| matches!(byte, 0x81 | 0x8d | 0x8f | 0x90 | 0x9d);
    if let Some(place) = bytes.iter().position(unused) {
        return Err(no_character(
            bytes,
            place,
            name,
            "neither UTF-8 nor Windows-1252",
        ));
    }
    let mut detector = EncodingDetector::new(Iso2022JpDetection::Deny);
    detector.feed(bytes, true);
    let guess = detector.guess(None, Utf8Detection::Deny);
    if !reads_like_windows_1252(guess) {
        let place = bytes.iter().position(high).unwrap_or_default();
        return Err(no_character(
            bytes,
            place,
            name,
            &format!("no UTF-8, and the text looks like {}", guess.name()),
        ));
    }
    let (text, _) = WINDOWS_1252.decode_without_bom_handling(bytes);
    Ok(text.into_owned())
}

/// Latin alphabets: of a few letters nobody can tell them apart, and the western one is what is sent.
fn reads_like_windows_1252(guess: &'static Encoding) -> bool {
    [
        WINDOWS_1252,
        WINDOWS_1250,
        WINDOWS_1254,
        WINDOWS_1257,
        ISO_8859_2,
        ISO_8859_4,
        ISO_8859_15,
    ]
    .contains(&guess)
}

fn no_character(bytes: &[u8], place: usize, name: &str, what: &str) -> Failure {
    let line = memchr::memchr_iter(b'\n', &bytes[..place]).count() + 1;
    Failure::new(
        Kind::Submission,
        format!(
            "cannot read {name}: byte {place} (0x{:02x}) is {what}",
            bytes[place]
        ),
    )
    .at(format!("line {line}"))
    .mend("save it as UTF-8 and submit it again")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn utf16(text: &str, bytes: fn(u16) -> [u8; 2]) -> Vec<u8> {
        ['\u{feff}']
            .into_iter()
            .chain(text.chars())
            .flat_map(|letter| letter.encode_utf16(&mut [0; 2]).to_vec())
            .flat_map(bytes)
            .collect()
    }

    #[test]
    fn every_encoding_gives_the_same_text() {
        let text = "Feld;Größe\nA;1½ ha 🌻\n";
        assert_eq!(decode(text.into(), "f").unwrap(), text);
        assert_eq!(decode(format!("\u{feff}{text}").into(), "f").unwrap(), text);
        assert_eq!(decode(utf16(text, u16::to_le_bytes), "f").unwrap(), text);
        assert_eq!(decode(utf16(text, u16::to_be_bytes), "f").unwrap(), text);
        let western = b"Feld;Gr\xf6\xdfe\nA;1\xbd ha \x96 Caf\xe9\n";
        assert_eq!(
            decode(western.to_vec(), "f").unwrap(),
            "Feld;Größe\nA;1½ ha – Café\n"
        );
    }

    #[test]
    fn what_is_no_character_is_named_by_byte_and_line() {
        let cyrillic = b"\xcf\xee\xeb\xe5;\xcf\xeb\xee\xf9\xe0\xe4\xfc\n\xc0;\xcf\xee\xe4\xf1\xee\xeb\xed\xe5\xf7\xed\xe8\xea\n";
        let mut lone = utf16("a\nb", u16::to_le_bytes);
        lone.extend([0x00, 0xd8]);
        let cases: [(&[u8], &str, &str); 6] = [
            (b"Gr\xc3\xb6\xc3\x9fe\nA;\xff\n", "0xff", "line 2"),
            (b"\xef\xbb\xbfa\nb\xe9\n", "0xe9", "line 2"),
            (b"a\n\xe9 \x81\n", "0x81", "line 2"),
            (b"a\0b", "zero byte", "line 1"),
            (&lone, "byte 8", "line 2"),
            (cyrillic, "looks like", "line 1"),
        ];
        for (bytes, what, line) in cases {
            let failure = decode(bytes.to_vec(), "f").unwrap_err().to_string();
            assert!(
                failure.contains(what) && failure.contains(line),
                "{failure}"
            );
        }
    }
}
