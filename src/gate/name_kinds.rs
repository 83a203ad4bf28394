//! How telling a private name is: what it could be mistaken for, and so how closely a text must spell it.
//!
//! Names that could be any word or number are not looked for: those under four characters, those of letters alone
//! under twelve, digits alone under six, dates and weeks. The bounds are our choice.

use super::folding::Folded;

/// Fewest letters and digits of a name that is looked for whatever is between them. Shorter ones are met by
/// chance: `R-51` in the crop stage R5.1. Our choice.
const LONG: usize = 6;

/// What a name may be taken for, and so how it is looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Three letters and digits or fewer, not counting dashes: as it is written, whatever the case and the dash.
    Tiny,
    /// Parted where it is parted, by one character or none.
    Short,
    /// Digits alone: parted exactly where it is parted.
    Digits,
    /// Letters alone: of whole words.
    Words,
    /// Anything else: however it is parted.
    Long,
}

/// How a name is looked for; `None` for one that could be any word or number.
pub(super) fn kind_of(name: &str, folded: &Folded) -> Option<Kind> {
    let letters = folded.letters.chars().count();
    let has_digit = folded.letters.contains(char::is_numeric);
    if name.chars().count() < 4 || letters < 2 {
        return None;
    }
    if !folded.letters.contains(char::is_alphabetic) {
        return (letters >= 6 && !is_date(folded)).then_some(Kind::Digits);
    }
    if !has_digit {
        return (name.chars().count() >= 12).then_some(Kind::Words);
    }
    match letters {
        0..4 => Some(Kind::Tiny),
        _ if is_date(folded) => None,
        4..LONG => Some(Kind::Short),
        _ => Some(Kind::Long),
    }
}

/// A day, a month or a week with or without its year: every page shows its own.
fn is_date(folded: &Folded) -> bool {
    const MONTHS: [&str; 12] = [
        "january",
        "february",
        "march",
        "april",
        "may",
        "june",
        "july",
        "august",
        "september",
        "october",
        "november",
        "december",
    ];
    let is_month = |word: &str| {
        let long = MONTHS.contains(&word);
        long || (word.len() == 3 && MONTHS.iter().any(|month| month.starts_with(word)))
    };
    let mut words = 0;
    for piece in &folded.pieces {
        let text = &folded.letters[piece.start..piece.end];
        match text.parse::<u32>() {
            Ok(number) => {
                let is_whole_date = text.len() == 8
                    && is_year(number / 10_000)
                    && (1..=12).contains(&(number / 100 % 100))
                    && (1..=31).contains(&(number % 100));
                if !(is_year(number) || (1..=53).contains(&number) || is_whole_date) {
                    return false;
                }
            }
            Err(_) if is_month(text) || matches!(text, "w" | "week") => words += 1,
            Err(_) => return false,
        }
    }
    let has_year = folded.pieces.iter().any(|piece| {
        let text = &folded.letters[piece.start..piece.end];
        text.len() >= 4
            && text
                .get(..4)
                .and_then(|year| year.parse().ok())
                .is_some_and(is_year)
    });
    words == 1 || (words == 0 && has_year)
}

fn is_year(number: u32) -> bool {
    (1900..=2099).contains(&number)
}
