//! The letters of a short message: the default alphabet of GSM 03.38, in which a text message holds 160 letters and not 70.
//!
//! Source: 3GPP TS 23.038 (before: GSM 03.38), section 6.2.1, default alphabet and its extension table; typed from memory, and
//! compared by a test of the second tier with the codec of another program.

use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

use crate::shared::unseen::is_unseen;

/// The letters of the default alphabet, but for the line ends, which a short text does not have.
const ALPHABET: &str = "@£$¥èéùìòÇØøÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà";
/// The letters of its extension: each takes the room of two.
const EXTENSION: &str = "^{}\\[~]|€";

/// The text in letters of the alphabet as far as they say the same: typographers' marks become plain ones, and a letter with
/// a mark that the alphabet lacks loses the mark. A letter of another script stays.
pub(super) fn in_short_letters(text: &str) -> String {
    text.chars()
        .filter(|c| !is_unseen(*c))
        .flat_map(plainer)
        .collect()
}

fn plainer(c: char) -> Vec<char> {
    let said = match c {
        _ if is_short_letter(c) => return vec![c],
        '–' | '—' | '‑' | '‐' | '−' => "-",
        '’' | '‘' | '′' => "'",
        '“' | '”' | '″' => "\"",
        '×' => "x",
        '⅓' => "1/3",
        '…' => "...",
        _ if c.is_whitespace() => " ",
        _ => {
            let plain: Vec<char> = c.nfd().filter(|c| !is_combining_mark(*c)).collect();
            return match plain.iter().all(|c| is_short_letter(*c)) {
                true => plain,
                false => vec![c],
            };
        }
    };
    said.chars().collect()
}

fn is_short_letter(c: char) -> bool {
    ALPHABET.contains(c) || EXTENSION.contains(c)
}

/// How much of a message's room a text takes: letters, those of the extension twice.
pub(super) fn room_of(text: &str) -> usize {
    let room = |c: char| if EXTENSION.contains(c) { 2 } else { 1 };
    text.chars().map(room).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_become_plain_and_scripts_stay() {
        assert_eq!(
            in_short_letters("July 20–26,\u{a0}2026: ⅓ of “Ángel’s” Señor × ≥ Дон\u{202e}"),
            "July 20-26, 2026: 1/3 of \"Łodz's\" Señor x ≥ Дон"
        );
        assert_eq!(in_short_letters("é à ç ő [x] ~"), "é à c o [x] ~");
        assert_eq!(room_of("a[b]€"), 8);
        // 128 places of the alphabet less two line ends and the escape.
        assert_eq!(ALPHABET.chars().count(), 125);
        assert_eq!(EXTENSION.chars().count(), 9);
    }
}
