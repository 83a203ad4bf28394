//! A text as the gate compares it: letters and digits alone, in one spelling, with what was between them noted.
//!
//! Case, Unicode form, accents, characters that are not seen, digits of other scripts and letters that look like
//! Latin ones (Unicode Technical Standard 39, by the crate `unicode-security`) make no difference. What was
//! between two runs is kept as a [`Gap`], so that each kind of name can say how much of it it puts up with.

use unicode_normalization::UnicodeNormalization;
use unicode_security::confusable_detection::skeleton;

/// What was between two pieces of a text.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Gap {
    /// Characters that are seen; 0 between a letter and a digit that touch.
    pub(super) length: usize,
    /// The character, of a gap of one: every dash is `-`, every space ` `.
    pub(super) only: Option<char>,
    /// A line or a cell of a table ends in it.
    pub(super) is_break: bool,
    /// It ends a sentence or a part of one: a comma, colon, semicolon or full stop before a space.
    pub(super) ends_sentence: bool,
}

/// A run of letters or of digits.
#[derive(Debug, Clone, Copy)]
pub(super) struct Piece {
    /// Where it begins in the folded text, bytes.
    pub(super) start: usize,
    /// Where it ends.
    pub(super) end: usize,
    /// What was before it.
    pub(super) before: Gap,
}

/// A folded text. Pieces follow each other without a gap, so several of them are one slice of `letters`.
#[derive(Debug, Default)]
pub(super) struct Folded {
    /// The letters and digits of all pieces.
    pub(super) letters: String,
    /// The same, bytes at the same places, where `i` and `l` are `1`, and `o` is `0`: they are read as each other.
    pub(super) look_alike: String,
    /// The pieces, in order.
    pub(super) pieces: Vec<Piece>,
    /// What was after the last piece.
    pub(super) after: Gap,
}

impl Folded {
    /// Folds a text.
    pub(super) fn of(text: &str) -> Folded {
        let mut folding = Folding::default();
        for c in text.chars().map(plain_form).nfkd() {
            if c.is_ascii() {
                folding.take(c);
            } else if let Some(digit) = digit_of_any_script(c) {
                folding.take(digit);
            } else {
                // Empty for what is not seen.
                let mut bytes = [0; 4];
                for looks in skeleton(c.encode_utf8(&mut bytes)).filter(|c| !is_mark(*c)) {
                    folding.take(parting_or(c, looks));
                }
            }
        }
        folding.folded.after = folding.gap;
        folding.folded.look_alike = look_alike(&folding.folded.letters);
        folding.folded
    }
}

/// The text in which letters and digits that are read as each other are one.
fn look_alike(folded: &str) -> String {
    let one = |c| match c {
        'i' | 'l' => '1',
        'o' => '0',
        other => other,
    };
    folded.chars().map(one).collect()
}

#[derive(Default)]
struct Folding {
    folded: Folded,
    gap: Gap,
    last: Option<char>,
}

impl Folding {
    fn take(&mut self, c: char) {
        if !c.is_alphanumeric() {
            return self.widen(c);
        }
        let is_new = self.gap != Gap::default()
            || self
                .last
                .is_none_or(|last| last.is_numeric() != c.is_numeric());
        let start = self.folded.letters.len();
        self.folded.letters.extend(c.to_lowercase());
        let end = self.folded.letters.len();
        match self.folded.pieces.last_mut() {
            Some(piece) if !is_new => piece.end = end,
            _ => self.folded.pieces.push(Piece {
                start,
                end,
                before: std::mem::take(&mut self.gap),
            }),
        }
        self.last = Some(c);
    }

    fn widen(&mut self, c: char) {
        let shown = match c {
            '-' | '\u{2010}'..='\u{2015}' | '\u{2212}' | '~' => '-',
            c if c.is_whitespace() => ' ',
            other => other,
        };
        let gap = &mut self.gap;
        gap.is_break |= matches!(
            c,
            '\n' | '\r' | '\t' | '\u{1e}' | '\u{2028}' | '\u{2029}' | ',' | ';' | '|' | '"'
        );
        let ends = gap
            .only
            .is_some_and(|before| matches!(before, ',' | ';' | ':' | '.' | '!' | '?'));
        gap.ends_sentence |= ends && shown == ' ';
        gap.length += 1;
        gap.only = (gap.length == 1).then_some(shown);
    }
}

/// What a character is taken for: a dash that looks like a letter of another script, and a bar that looks like
/// `l`, part words; other signs that look like a letter of ours are that letter.
fn parting_or(c: char, looks: char) -> char {
    // Every long dash, and every letter that is one stroke, looks like this one.
    const LONG_DASH: char = '\u{30fc}';
    let is_letter = looks.is_ascii_alphanumeric() && looks != 'l';
    match looks == LONG_DASH || (!c.is_alphanumeric() && !is_letter && looks.is_alphanumeric()) {
        true => '-',
        false => looks,
    }
}

/// Letters in a frame and digits in a disk, which have no compatibility form in Unicode, as the letter or digit.
fn plain_form(c: char) -> char {
    let from = |first: char, plain: u8| {
        let place = u32::from(c) - u32::from(first);
        char::from(plain + u8::try_from(place).unwrap_or_default())
    };
    match c {
        '\u{1f150}'..='\u{1f169}' => from('\u{1f150}', b'A'),
        '\u{1f170}'..='\u{1f189}' => from('\u{1f170}', b'A'),
        '\u{1f1e6}'..='\u{1f1ff}' => from('\u{1f1e6}', b'A'),
        '\u{2776}'..='\u{277e}' => from('\u{2776}', b'1'),
        '\u{2780}'..='\u{2788}' => from('\u{2780}', b'1'),
        '\u{278a}'..='\u{2792}' => from('\u{278a}', b'1'),
        other => other,
    }
}

/// A decimal digit of whatever script. Those of a script follow each other from 0 to 9 (The Unicode Standard,
/// section 4.6), so the value is how many of them are before it.
pub(super) fn digit_of_any_script(c: char) -> Option<char> {
    if !is_decimal(c) {
        return None;
    }
    let before = |steps: u32| char::from_u32(u32::from(c).checked_sub(steps)?);
    let value = (0..10).find(|steps| !before(steps + 1).is_some_and(is_decimal))?;
    char::from_digit(value, 10)
}

/// Whether it is a decimal digit: `char` knows numbers of every kind, and these only by their form.
fn is_decimal(c: char) -> bool {
    use std::sync::LazyLock;
    static DECIMAL: LazyLock<regex::Regex> =
        LazyLock::new(|| regex::Regex::new(r"^\p{Nd}$").expect("the pattern is a literal of ours"));
    c.is_numeric() && DECIMAL.is_match(c.encode_utf8(&mut [0; 4]))
}

fn is_mark(c: char) -> bool {
    unicode_normalization::char::is_combining_mark(c)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spellings_of_one_name_fold_to_the_same_letters() {
        for spelling in [
            "F-AAA123",
            "f aaa_123",
            "F\u{2011}AAA\u{200b}123",
            "Ｆ－ＡＡＡ１２３",
            "F-\u{410}\u{391}A123",
            "F-A\u{301}AA123",
            "🅵-🄰🅐Ⓐ❶②➂",
            "𝐅-𝔸𝒜𝖠𝟏𝟚𝟥",
            "F-AAA١٢٣",
            "F-AAA१२३",
            "F-AAA\u{fe0f}1\u{20e3}23",
            "\u{1f1eb}\u{1f1e6}\u{1f1e6}\u{1f1e6}123",
        ] {
            assert_eq!(Folded::of(spelling).letters, "faaa123", "{spelling}");
        }
    }

    #[test]
    fn whatever_looks_like_a_dash_or_a_space_parts_words() {
        for parting in [
            "-", "\u{ad}-", "\u{2010}", "\u{2011}", "\u{2012}", "\u{2013}", "\u{2014}", "\u{2015}",
            "\u{2212}", "\u{2043}", "\u{2e3a}", "\u{fe58}", "\u{fe63}", "\u{ff0d}", "\u{58a}",
            "\u{1806}", "\u{2500}", "\u{30fc}", "\u{4e00}", "~", "\u{223c}", "_", "\u{ff3f}", " ",
            "\u{a0}", "\u{2009}", "\u{3000}", "\u{2800}", "\u{b7}", "\u{2022}", ".", "/",
            "\u{2215}", "|", "\u{2223}",
        ] {
            let folded = Folded::of(&format!("F{parting}AAA123"));
            assert_eq!(folded.letters, "faaa123", "{parting:?}");
            assert_eq!(folded.pieces.len(), 3, "{parting:?}");
            assert!(folded.pieces[1].before.length > 0, "{parting:?}");
        }
    }

    #[test]
    fn what_is_between_the_pieces_is_noted() {
        let folded = Folded::of("R5.1, 12\n–x");
        let pieces: Vec<&str> = folded
            .pieces
            .iter()
            .map(|piece| &folded.letters[piece.start..piece.end])
            .collect();
        assert_eq!(pieces, ["r", "5", "1", "12", "x"]);
        let gaps: Vec<_> = folded.pieces.iter().map(|piece| piece.before).collect();
        assert_eq!((gaps[1].length, gaps[2].only), (0, Some('.')));
        assert!(gaps[3].ends_sentence && gaps[3].is_break && gaps[3].length == 2);
        assert!(gaps[4].is_break && gaps[4].only.is_none() && !gaps[2].is_break);
    }
}
