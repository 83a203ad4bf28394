//! How numbers are written, as the cells of the columns of numbers show it.

use std::sync::LazyLock;

use regex::Regex;

use crate::mapping::values::numbers::{NumberForm, read_number};

/// Pairs of decimal sign and sign between groups of three that are tried, the usual ones first.
const FORMS: [(char, Option<char>); 8] = [
    ('.', None),
    (',', None),
    ('.', Some(',')),
    (',', Some('.')),
    (',', Some(' ')),
    ('.', Some(' ')),
    ('.', Some('\'')),
    (',', Some('\'')),
];

/// A number that needs none of the signs.
static PLAIN: LazyLock<Regex> = LazyLock::new(|| {
    Regex::new(r"^[^0-9.,]*[+-]?[0-9]+[^0-9.,'’]*$").expect("a pattern of ours compiles")
});
/// Groups of three in which the first is a zero: a decimal number.
static ZERO_FIRST: LazyLock<Regex> =
    LazyLock::new(|| Regex::new(r"(^|[^0-9])0[.,' ][0-9]{3}").expect("a pattern of ours compiles"));

/// A text in a column of numbers.
pub(super) struct Written {
    pub text: String,
    /// What the column can hold.
    pub range: (f64, f64),
    pub is_angle: bool,
}

/// What the cells show.
#[derive(Debug, PartialEq)]
pub(super) enum Signs {
    /// No number needs a sign.
    Unsaid,
    /// The decimal sign, and the one between groups of three.
    Said(char, Option<char>),
    /// They can be read in more ways than one, or in none; a cell that shows it.
    Undecided(String),
}

/// How the numbers of a sheet are written.
pub(super) fn signs(written: &[Written]) -> Signs {
    let readable: Vec<&Written> = written
        .iter()
        .filter(|written| !PLAIN.is_match(&written.text))
        .filter(|written| FORMS.iter().any(|form| value(written, *form).is_some()))
        .collect();
    let Some(example) = readable.first() else {
        return Signs::Unsaid;
    };
    let reads_all = |form: &&(char, Option<char>)| {
        readable
            .iter()
            .all(|written| value(written, **form).is_some())
    };
    let forms: Vec<(char, Option<char>)> = FORMS.iter().filter(reads_all).copied().collect();
    let Some(first) = forms.first().copied() else {
        return Signs::Undecided(example.text.clone());
    };
    let differs = |written: &&&Written| {
        forms
            .iter()
            .any(|form| value(written, *form) != value(written, first))
    };
    match readable.iter().find(differs) {
        Some(written) => Signs::Undecided(written.text.clone()),
        None => Signs::Said(first.0, first.1),
    }
}

/// The number of a text by a pair of signs, if the column can hold it.
fn value(written: &Written, (decimal, group): (char, Option<char>)) -> Option<f64> {
    let form = NumberForm {
        decimal: Some(decimal),
        group,
        fractions: false,
    };
    let number = read_number(&written.text, &form, written.range, written.is_angle)
        .ok()?
        .value;
    let fits = (written.range.0..=written.range.1).contains(&number);
    let grouped_zero = ZERO_FIRST
        .find(&written.text)
        .is_some_and(|found| group.is_some_and(|group| found.as_str().contains(group)));
    (fits && !grouped_zero).then_some(number)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Cells of a column, each with what its member takes.
    type Cells<'a> = &'a [(&'a str, (f64, f64))];

    #[test]
    fn cells_show_the_signs_of_numbers() {
        let any = (0.0, 1e9);
        let cases: [(Cells<'_>, Signs); 10] = [
            (&[("100", any), ("8", any)], Signs::Unsaid),
            (&[("8.25", any), ("100", any)], Signs::Said('.', None)),
            (&[("$8.00", any)], Signs::Said('.', None)),
            (&[("0,16", any), ("8,25", any)], Signs::Said(',', None)),
            (&[("0,175", any)], Signs::Said(',', None)),
            (&[("-100,125", (-180.0, 180.0))], Signs::Said(',', None)),
            (
                &[("0.16", any), ("20,000", any)],
                Signs::Said('.', Some(',')),
            ),
            (
                &[("0,16", any), ("20 000", any)],
                Signs::Said(',', Some(' ')),
            ),
            (&[("20,000", any)], Signs::Undecided("20,000".to_owned())),
            (&[("20,000", (1_000.0, 1e6))], Signs::Said('.', Some(','))),
        ];
        for (texts, wanted) in cases {
            let written: Vec<Written> = texts
                .iter()
                .map(|(text, range)| Written {
                    text: (*text).to_owned(),
                    range: *range,
                    is_angle: range.0 < 0.0,
                })
                .collect();
            assert_eq!(signs(&written), wanted, "{texts:?}");
        }
    }
}
