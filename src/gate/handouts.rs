//! Files of an alert to paste and to send, as the gate judges them: what a picture carries besides its pixels, and whether
//! the figures and cautions in the words are those of public rows and the standing ones.
//!
//! Reads the finished bytes, not what they were made from.

use std::collections::{BTreeMap, BTreeSet};

use regex::Regex;

use super::row_words::RowWords;
use crate::shared::cautions::{SHORT, standing_cautions};
use crate::shared::unseen::plain_text;

/// Letters of a short text at most: two text messages, joined.
const SHORT_LETTERS_MAX: usize = 300;
/// The parts of a PNG file that hold pixels and nothing else (W3C Portable Network Graphics, third edition, section 11).
const PIXELS: [&[u8; 4]; 5] = [b"IHDR", b"PLTE", b"tRNS", b"IDAT", b"IEND"];

/// Judges a picture: it holds pixels, and no words next to them.
pub(super) fn judge_picture(bytes: &[u8]) -> Result<(), String> {
    const SIGNATURE: &[u8] = b"\x89PNG\r\n\x1a\n";
    let mut rest = bytes.strip_prefix(SIGNATURE).ok_or("it is no PNG file")?;
    while let Some((length, after)) = rest.split_first_chunk::<4>() {
        let length = u32::from_be_bytes(*length) as usize;
        let (kind, after) = after.split_first_chunk::<4>().ok_or("it is cut off")?;
        if !PIXELS.contains(&kind) {
            let kind = String::from_utf8_lossy(kind);
            return Err(format!("it has a part {kind:?} besides its pixels"));
        }
        // Four bytes of checksum.
        rest = after.get(length + 4..).ok_or("it is cut off")?;
        if kind == b"IEND" {
            return match rest.is_empty() {
                true => Ok(()),
                false => Err("something comes after its end".to_owned()),
            };
        }
    }
    Err("it is cut off".to_owned())
}

/// Judges a short text: its length, and its caution, whole.
pub(super) fn judge_short(text: &str) -> Result<(), String> {
    let letters = text.trim_end().chars().count();
    if letters > SHORT_LETTERS_MAX {
        return Err(format!(
            "it has {letters} letters, and {SHORT_LETTERS_MAX} is the most"
        ));
    }
    match text.contains(SHORT) {
        true => Ok(()),
        false => Err("its caution is not there, or not whole".to_owned()),
    }
}

/// Judges words for people: every standing caution is there, and each line of figures of a place is one of its public rows.
/// `names` are the places of rows as shown.
pub(super) fn judge_words<'a>(
    text: &str,
    protocol: &str,
    rows: impl Iterator<Item = &'a RowWords>,
    names: &BTreeMap<String, String>,
) -> Result<(), String> {
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let missing = standing_cautions([])
        .into_iter()
        .find(|caution| !text.contains(&caution.title));
    if let Some(caution) = missing {
        return Err(format!("its caution {:?} is missing", caution.title));
    }
    let mut public: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for name in names.values() {
        public.entry(plain_text(name)).or_default();
    }
    for row in rows {
        let [place, _, of, _, fields, least, most, ..] = row.as_slice() else {
            continue;
        };
        if of == protocol {
            let name = names.get(place).unwrap_or(place);
            let said = public.entry(plain_text(name)).or_default();
            said.insert(counts_in_words(fields, least, most));
        }
    }
    let line = Regex::new(r"(\d+) ((?:none|\d+ or more|\d+ to \d+|\d+) of (\d+))\b")
        .map_err(|error| error.to_string())?;
    for found in line.captures_iter(&text) {
        let (Some(whole), Some(said)) = (found.get(0), found.get(2)) else {
            continue;
        };
        if found[1] != found[3] {
            continue;
        }
        let before = text[..whole.start()].trim_end();
        // `Brown (visits through August 5)`.
        let bare = before
            .strip_suffix(')')
            .and_then(|before| before.rsplit_once(" ("));
        let ends_with = |name: &&String| {
            before.ends_with(name.as_str())
                || bare.is_some_and(|(bare, _)| bare.ends_with(name.as_str()))
        };
        // Of `Clay` and `North Clay` the longer one.
        let place = public
            .keys()
            .filter(ends_with)
            .max_by_key(|name| name.len());
        if let Some(place) = place.filter(|place| !public[*place].contains(said.as_str())) {
            return Err(format!(
                "it says {:?} of {place}, which is in no public row",
                said.as_str()
            ));
        }
    }
    Ok(())
}

/// Fields at threshold of a public row, worded here once more: `4 of 6`, `5 or more of 6`, `none of 4`, `1 to 2 of 7`.
fn counts_in_words(fields: &str, least: &str, most: &str) -> String {
    match (least, most) {
        (_, "0") => format!("none of {fields}"),
        (least, most) if least == most => format!("{least} of {fields}"),
        (least, most) if most == fields => format!("{least} or more of {fields}"),
        (least, most) => format!("{least} to {most} of {fields}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(place: &str, protocol: &str, counts: [&str; 3]) -> RowWords {
        let [fields, least, most] = counts;
        let words = [
            place, "2026-W30", protocol, "1", fields, least, most, "", "",
        ];
        words.map(str::to_owned).to_vec()
    }

    fn judged(line: &str) -> Result<(), String> {
        let cautions: Vec<String> = standing_cautions([])
            .into_iter()
            .map(|caution| caution.title)
            .collect();
        let rows = [
            row("013", "bsm-eggs", ["6", "4", "4"]),
            row("015", "bsm-eggs", ["4", "0", "0"]),
            row("017", "rssw", ["4", "1", "4"]),
            row("elsewhere in North", "bsm-eggs", ["7", "1", "2"]),
        ];
        let names = [("013", "Brown"), ("015", "New Brown"), ("017", "Clay")];
        let names = names.map(|(id, name)| (id.to_owned(), name.to_owned()));
        let text = format!("{line}\n{}", cautions.join("\n"));
        judge_words(&text, "bsm-eggs", rows.iter(), &names.into_iter().collect())
    }

    #[test]
    fn a_line_of_figures_is_that_of_a_public_row() {
        for line in [
            "3 Brown\n6\n4\u{a0}of 6 30–90%",
            "Brown (visits through August 5) 6 4 of 6",
            "New Brown 4 none of 4",
            "elsewhere in North 7 1 to 2 of 7",
            "of 66 counties 14 of 66 have figures; a note on 6 traps: 6 3 of 6",
        ] {
            assert_eq!(judged(line), Ok(()), "{line}");
        }
        for line in [
            "3 Brown 6 5 of 6",
            "Brown (visits through August 5) 6 3 of 6",
            "New Brown 6 4 of 6",
            // Of another protocol, and of no row.
            "Clay 4 1 or more of 4",
            "elsewhere in North 7 2 of 7",
        ] {
            assert!(judged(line).is_err(), "{line}");
        }
    }

    #[test]
    fn a_caution_that_is_missing_is_named() {
        let rows: [RowWords; 0] = [];
        let reason = judge_words("nothing", "bsm-eggs", rows.iter(), &BTreeMap::new());
        assert!(reason.is_err_and(|why| why.contains("The label is the law")));
    }

    #[test]
    fn a_short_text_is_short_and_has_its_caution_whole() {
        assert_eq!(
            judge_short(&format!("Moth: nothing found. {SHORT}\n")),
            Ok(())
        );
        assert!(judge_short(&SHORT[1..]).is_err());
        assert!(judge_short(&format!("{}{SHORT}", "a".repeat(300))).is_err());
    }

    #[test]
    fn a_picture_with_words_besides_its_pixels_is_stopped() {
        let part = |kind: &[u8; 4], data: &[u8]| {
            let length = u32::try_from(data.len())
                .expect("a short part")
                .to_be_bytes();
            [&length[..], kind, data, &[0; 4]].concat()
        };
        let signature = b"\x89PNG\r\n\x1a\n".to_vec();
        let of = |parts: &[Vec<u8>]| [vec![signature.clone()], parts.to_vec()].concat().concat();
        let (start, end) = (part(b"IHDR", &[0; 13]), part(b"IEND", b""));
        assert_eq!(judge_picture(&of(&[start.clone(), end.clone()])), Ok(()));
        let text = part(b"tEXt", b"Comment\0F-46013-2");
        let with_text = judge_picture(&of(&[start.clone(), text, end.clone()]));
        assert!(with_text.is_err_and(|why| why.contains("tEXt")));
        assert!(judge_picture(&of(&[start.clone(), end, b"more".to_vec()])).is_err());
        assert!(judge_picture(&of(&[start])).is_err());
        assert!(judge_picture(b"GIF89a").is_err());
    }
}
