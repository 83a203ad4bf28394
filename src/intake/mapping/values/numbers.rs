//! A number written as text → its value, or why it can be read in more than one way.
//!
//! It knows figures, separators and the ways in which people say "about"; units, codes and missing
//! values are [`crate::mapping::values::cells`]'s.

use std::sync::LazyLock;

use regex::Regex;

use scouting::visit::code::Code;

/// How a mapping says that numbers are written.
#[derive(Debug, Clone, Default)]
pub(in crate::mapping) struct NumberForm {
    /// Table Schema's `decimalChar`, if the mapping states it.
    pub decimal: Option<char>,
    /// Table Schema's `groupChar`, if the mapping states it.
    pub group: Option<char>,
    /// Whether `1/2`, `1 1/2` and `½` are numbers.
    pub fractions: bool,
}

/// What keeps a cell from being read.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::mapping) struct Fault {
    /// Code of the finding.
    pub code: Code,
    /// What would be right, or what the mapping would have to say.
    pub expected: String,
}

impl Fault {
    pub(crate) fn new(code: Code, expected: impl Into<String>) -> Fault {
        Fault {
            code,
            expected: expected.into(),
        }
    }
}

/// A number and the text about it.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::mapping) struct NumberText {
    /// The value of the figures.
    pub value: f64,
    /// What is written before them, without spaces at the ends.
    pub before: String,
    /// What is written after them, without spaces at the ends.
    pub after: String,
    /// Whether they are written with an exponent, as 3e1.
    pub has_exponent: bool,
}

const VULGAR: &[(char, f64)] = &[
    ('½', 1.0 / 2.0),
    ('⅓', 1.0 / 3.0),
    ('⅔', 2.0 / 3.0),
    ('¼', 1.0 / 4.0),
    ('¾', 3.0 / 4.0),
    ('⅕', 1.0 / 5.0),
    ('⅖', 2.0 / 5.0),
    ('⅗', 3.0 / 5.0),
    ('⅘', 4.0 / 5.0),
    ('⅙', 1.0 / 6.0),
    ('⅚', 5.0 / 6.0),
    ('⅛', 1.0 / 8.0),
    ('⅜', 3.0 / 8.0),
    ('⅝', 5.0 / 8.0),
    ('⅞', 7.0 / 8.0),
];

fn pattern(text: &str) -> Regex {
    Regex::new(text).expect("a pattern of ours compiles")
}

static CENSORED: LazyLock<Regex> = LazyLock::new(|| {
    pattern(concat!(
        r"(?i)^(?:[<>≤≥~≈±]|(?:about|approx|approximately|ca|circa|over|under|at least|at most|up to|less than|more than)\b)",
        r"|^[+-]?[0-9][0-9.,]*\s*\+(?:\s|$)"
    ))
});
static RANGE: LazyLock<Regex> =
    LazyLock::new(|| pattern(r"(?i)^[+-]?[0-9][0-9.,]*\s*(?:-|–|—|\.\.+|to|bis)\s*[0-9]"));
static FRACTION: LazyLock<Regex> = LazyLock::new(|| {
    pattern(concat!(
        r"^(?<before>[^0-9½⅓⅔¼¾⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞]*?)(?<sign>-?)",
        r"(?:(?:(?<whole>[0-9]+)\s+)?(?<above>[0-9]+)\s*[/⁄]\s*(?<below>[0-9]+)",
        r"|(?<whole_vulgar>[0-9]+)?\s*(?<vulgar>[½⅓⅔¼¾⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞]))(?<after>[^0-9/]*)$"
    ))
});
static ANGLE: LazyLock<Regex> =
    LazyLock::new(|| pattern(r#"(?i)[°º′″]|[0-9]\s*['"]|[0-9.]\s*[NSEWO]\s*$|^\s*[NSEW]\s*[0-9]"#));
static FIGURES: LazyLock<Regex> = LazyLock::new(|| {
    pattern(concat!(
        r"(?s)^(?<before>[^0-9]*?)",
        r"(?<core>[+-]?(?:[0-9](?:[0-9.,'’\u{a0}\u{202f}\u{2009} ]*[0-9])?[.,]?|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?)",
        r"(?<after>[^0-9]*)$"
    ))
});
static TWO_READINGS: LazyLock<Regex> = LazyLock::new(|| pattern(r"^[1-9][0-9]{0,2}[.,][0-9]{3}$"));

/// Reads a number from text without spaces at its ends. `range` is what the member takes: a reading
/// outside it is none.
pub(in crate::mapping) fn read_number(
    text: &str,
    form: &NumberForm,
    range: (f64, f64),
    is_angle: bool,
) -> Result<NumberText, Fault> {
    let text = text.replace('\u{2212}', "-");
    // Spreadsheets show numbers kept as text by an apostrophe that some programs write out.
    let text = text.strip_prefix('\'').unwrap_or(&text);
    if let Some(fraction) = FRACTION.captures(text) {
        return read_fraction(&fraction, form);
    }
    refuse_what_is_no_number(text, is_angle)?;
    let Some(parts) = FIGURES.captures(text) else {
        return Err(Fault::new(Code::NumberUnreadable, "one number in the cell"));
    };
    Ok(NumberText {
        value: read_figures(&parts["core"], form, range)?,
        before: parts["before"].trim().to_owned(),
        after: parts["after"].trim().to_owned(),
        has_exponent: parts["core"].contains(['e', 'E']),
    })
}

fn refuse_what_is_no_number(text: &str, is_angle: bool) -> Result<(), Fault> {
    let fault = |code, expected: &str| Err(Fault::new(code, expected));
    if text
        .chars()
        .any(|letter| letter.is_numeric() && !letter.is_ascii_digit())
    {
        return fault(Code::DigitsUnfamiliar, "the digits 0 to 9");
    }
    if !text.bytes().any(|letter| letter.is_ascii_digit()) {
        return if text.chars().any(char::is_alphanumeric) {
            fault(
                Code::NumberInWords,
                "a number; if the word means a number or no value, the mapping says so (values, missingValues)",
            )
        } else {
            fault(
                Code::NumberIsAMark,
                "a number; if the mark means 0 or not counted, the mapping says so (values, missingValues)",
            )
        };
    }
    if is_angle && ANGLE.is_match(text) {
        return fault(
            Code::AngleNotDecimal,
            "decimal degrees, west and south negative, as -100.12345; for degrees, minutes and letters the mapping says format = \"dms\"",
        );
    }
    if CENSORED.is_match(text) {
        return fault(
            Code::NumberNotExact,
            "one exact number: a bound or an estimate is no count",
        );
    }
    if RANGE.is_match(text) {
        return fault(Code::NumberIsARange, "one number, not a range");
    }
    Ok(())
}

fn read_fraction(parts: &regex::Captures<'_>, form: &NumberForm) -> Result<NumberText, Fault> {
    let number = |name: &str| {
        parts
            .name(name)
            .and_then(|part| part.as_str().parse::<f64>().ok())
    };
    let whole = number("whole").or(number("whole_vulgar")).unwrap_or(0.0);
    let share = match (number("above"), number("below"), parts.name("vulgar")) {
        (Some(above), Some(below), _) if below > 0.0 => above / below,
        (_, _, Some(vulgar)) => VULGAR
            .iter()
            .find(|(letter, _)| vulgar.as_str().starts_with(*letter))
            .map_or(0.0, |(_, share)| *share),
        _ => return Err(Fault::new(Code::NumberUnreadable, "a number")),
    };
    let value = whole + share;
    if !form.fractions {
        return Err(Fault::new(
            Code::NumberIsAFraction,
            format!("a decimal number; if {value} is meant, the mapping says fractions = true"),
        ));
    }
    Ok(NumberText {
        value: if &parts["sign"] == "-" { -value } else { value },
        before: parts["before"].trim().to_owned(),
        after: parts["after"].trim().to_owned(),
        has_exponent: false,
    })
}

/// Figures with separators: by what the mapping states, else only where there is one reading.
fn read_figures(core: &str, form: &NumberForm, range: (f64, f64)) -> Result<f64, Fault> {
    let (mantissa, exponent) = core.split_once(['e', 'E']).unwrap_or((core, ""));
    let (sign, body) = match mantissa.strip_prefix(['+', '-']) {
        Some(body) => (if mantissa.starts_with('-') { "-" } else { "" }, body),
        None => ("", mantissa),
    };
    let parse = |plain: &str| -> Option<f64> {
        let exponent = if exponent.is_empty() { "0" } else { exponent };
        let number: f64 = format!("{sign}{plain}e{exponent}").parse().ok()?;
        number.is_finite().then_some(number)
    };
    let unreadable = |expected: String| Fault::new(Code::NumberUnreadable, expected);
    if form.decimal.is_some() || form.group.is_some() {
        let plain = stated(body, form.decimal, form.group);
        return plain.and_then(|plain| parse(&plain)).ok_or_else(|| {
            let (decimal, group) = characters(form.decimal, form.group);
            let group = group.map_or("no groupChar".to_owned(), |group| {
                format!("groupChar {group:?}")
            });
            unreadable(format!(
                "a number as the mapping says: decimalChar {decimal:?}, {group}"
            ))
        });
    }
    let separators: Vec<char> = body
        .chars()
        .filter(|letter| !letter.is_ascii_digit())
        .collect();
    match separators.as_slice() {
        [] => parse(body).ok_or_else(|| unreadable("a number that a computer can hold".to_owned())),
        ['.'] if !TWO_READINGS.is_match(body) => {
            parse(body).ok_or_else(|| unreadable("a number that a computer can hold".to_owned()))
        }
        _ => {
            let readings = readings(body);
            let numbers: Vec<(f64, &str)> = readings
                .iter()
                .filter_map(|(plain, how)| Some((parse(plain)?, *how)))
                .collect();
            one_reading(body, &numbers, range)
        }
    }
}

/// Takes the decimal point alone on trust, and only where no other reading is possible.
fn one_reading(body: &str, numbers: &[(f64, &str)], range: (f64, f64)) -> Result<f64, Fault> {
    let possible: Vec<&(f64, &str)> = numbers
        .iter()
        .filter(|(number, _)| (range.0..=range.1).contains(number))
        .collect();
    let points_only = body
        .chars()
        .all(|letter| letter.is_ascii_digit() || letter == '.');
    match possible.as_slice() {
        [(number, _)] if points_only => Ok(*number),
        _ => {
            let shown: Vec<String> = numbers
                .iter()
                .map(|(number, how)| format!("{number} with {how}"))
                .collect();
            let shown = if shown.is_empty() {
                "no reading fits".to_owned()
            } else {
                shown.join(" or ")
            };
            Err(Fault::new(
                Code::NumberAmbiguous,
                format!("an unambiguous number: {shown}; the mapping says which"),
            ))
        }
    }
}

/// Every way in which figures with separators can be read, and what a mapping would say for it.
fn readings(body: &str) -> Vec<(String, &'static str)> {
    let ways = [
        (Some('.'), None, "decimalChar = \".\""),
        (Some(','), None, "decimalChar = \",\""),
        (None, Some(','), "groupChar = \",\""),
        (
            Some(','),
            Some('.'),
            "decimalChar = \",\" and groupChar = \".\"",
        ),
        (None, Some(' '), "groupChar = \" \""),
        (None, Some('\''), "groupChar = \"'\""),
    ];
    let mut readings: Vec<(String, &'static str)> = Vec::new();
    for (decimal, group, how) in ways {
        if let Some(plain) = stated(body, decimal, group)
            && readings.iter().all(|(other, _)| *other != plain)
        {
            readings.push((plain, how));
        }
    }
    readings
}

/// The two characters, with the defaults of Table Schema.
fn characters(decimal: Option<char>, group: Option<char>) -> (char, Option<char>) {
    let usual = if group == Some('.') { ',' } else { '.' };
    (decimal.unwrap_or(usual), group)
}

/// Figures without separators and with a decimal point; `None` if they do not follow the form.
fn stated(body: &str, decimal: Option<char>, group: Option<char>) -> Option<String> {
    let (decimal, group) = characters(decimal, group);
    let (whole, rest) = body.split_once(decimal).unwrap_or((body, ""));
    let is_group = |letter: char| match group {
        Some(' ') => matches!(letter, ' ' | '\u{a0}' | '\u{202f}' | '\u{2009}'),
        Some('\'') => matches!(letter, '\'' | '’'),
        Some(group) => letter == group,
        None => false,
    };
    let groups: Vec<&str> = whole.split(is_group).collect();
    let digits = |text: &str| text.bytes().all(|letter| letter.is_ascii_digit());
    let grouped_by_three = groups.len() == 1
        || ((1..=3).contains(&groups[0].len()) && groups[1..].iter().all(|group| group.len() == 3));
    let whole = groups.concat();
    (grouped_by_three && digits(&whole) && digits(rest) && !(whole.is_empty() && rest.is_empty()))
        .then(|| format!("{whole}.{rest}"))
        .map(|plain| {
            if plain.starts_with('.') {
                format!("0{plain}")
            } else {
                plain
            }
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    const AMOUNTS: (f64, f64) = (0.0, 1e9);

    fn read(text: &str, form: &NumberForm) -> Result<f64, Code> {
        read_number(text, form, AMOUNTS, false)
            .map(|number| number.value)
            .map_err(|fault| fault.code)
    }

    #[test]
    fn without_a_word_from_the_mapping_only_one_reading_counts() {
        let form = NumberForm::default();
        let cases: [(&str, Result<f64, Code>); 33] = [
            ("12", Ok(12.0)),
            ("-3", Ok(-3.0)),
            ("+3", Ok(3.0)),
            ("\u{2212}3", Ok(-3.0)),
            ("'12", Ok(12.0)),
            ("12.5", Ok(12.5)),
            (".5", Ok(0.5)),
            ("5.", Ok(5.0)),
            ("0.125", Ok(0.125)),
            ("1234.567", Ok(1234.567)),
            ("1e3", Ok(1000.0)),
            ("1.23E+4", Ok(12300.0)),
            ("1.234", Err(Code::NumberAmbiguous)),
            ("1,5", Err(Code::NumberAmbiguous)),
            ("1,234", Err(Code::NumberAmbiguous)),
            ("1,234.5", Err(Code::NumberAmbiguous)),
            ("1.234,5", Err(Code::NumberAmbiguous)),
            ("1 234", Err(Code::NumberAmbiguous)),
            ("1\u{a0}234", Err(Code::NumberAmbiguous)),
            ("1'234", Err(Code::NumberAmbiguous)),
            ("<5", Err(Code::NumberNotExact)),
            (">100", Err(Code::NumberNotExact)),
            ("10+", Err(Code::NumberNotExact)),
            ("~ 8", Err(Code::NumberNotExact)),
            ("5-10", Err(Code::NumberIsARange)),
            ("5 to 10", Err(Code::NumberIsARange)),
            ("trace", Err(Code::NumberInWords)),
            ("-", Err(Code::NumberIsAMark)),
            ("½", Err(Code::NumberIsAFraction)),
            ("1 1/2", Err(Code::NumberIsAFraction)),
            ("٣", Err(Code::DigitsUnfamiliar)),
            ("1e999", Err(Code::NumberUnreadable)),
            ("1.2.3 4", Err(Code::NumberAmbiguous)),
        ];
        for (text, wanted) in cases {
            assert_eq!(read(text, &form), wanted, "{text:?}");
        }
    }

    #[test]
    fn the_mapping_says_what_separators_mean() {
        let with = |decimal, group, fractions| NumberForm {
            decimal,
            group,
            fractions,
        };
        let cases: [(&str, NumberForm, Result<f64, Code>); 12] = [
            ("1,5", with(Some(','), None, false), Ok(1.5)),
            ("1.234", with(Some('.'), None, false), Ok(1.234)),
            ("1.234", with(Some(','), Some('.'), false), Ok(1234.0)),
            ("1.234,5", with(None, Some('.'), false), Ok(1234.5)),
            ("20,000", with(None, Some(','), false), Ok(20_000.0)),
            ("20\u{202f}000", with(None, Some(' '), false), Ok(20_000.0)),
            (
                "2,00",
                with(None, Some(','), false),
                Err(Code::NumberUnreadable),
            ),
            (
                "1,5",
                with(Some('.'), None, false),
                Err(Code::NumberUnreadable),
            ),
            ("½", with(None, None, true), Ok(0.5)),
            ("1 1/2", with(None, None, true), Ok(1.5)),
            ("2¾", with(None, None, true), Ok(2.75)),
            ("3/0", with(None, None, true), Err(Code::NumberUnreadable)),
        ];
        for (text, form, wanted) in cases {
            assert_eq!(read(text, &form), wanted, "{text:?} by {form:?}");
        }
    }

    #[test]
    fn a_longitude_cannot_be_a_hundred_thousand() {
        let read = |text| read_number(text, &NumberForm::default(), (-180.0, 180.0), true);
        assert_eq!(read("-100.123").map(|number| number.value), Ok(-100.123));
        for text in ["100° 7' 24\" W", "100.12 W", "W 100.12", "100°07.4'"] {
            assert_eq!(
                read(text).map_err(|fault| fault.code),
                Err(Code::AngleNotDecimal),
                "{text}"
            );
        }
    }

    #[test]
    fn an_ambiguity_shows_both_readings() {
        let fault = read_number("1.234", &NumberForm::default(), AMOUNTS, false).unwrap_err();
        assert!(
            fault.expected.contains("1.234 with decimalChar = \".\""),
            "{fault:?}"
        );
        assert!(fault.expected.contains("1234 with"), "{fault:?}");
    }

    #[test]
    fn what_is_around_a_number_is_kept_for_the_judge() {
        let read = |text| read_number(text, &NumberForm::default(), AMOUNTS, false).unwrap();
        assert_eq!(read("12 (est)").after, "(est)");
        assert_eq!(
            (read("$8.00/ac").before, read("$8.00/ac").after),
            ("$".into(), "/ac".into())
        );
        assert_eq!(read("12.5 ac").value, 12.5);
    }
}
