//! A finding in the words of the person who walked the field: where, what is wrong, what would be
//! right. And texts of other people made fit to appear among ours.
//!
//! Reports for programs keep the codes and pointers of [`super::finding`]; here nobody has to know
//! what a JSON Pointer is.

use serde_json::Value;

use super::code::Code;
use super::finding::Finding;
use super::members::MEMBERS;
use crate::visit::rules::identity_doubts::OF_ANOTHER;

/// What one finding says to the sender.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct InWords {
    /// Where it is and what is wrong: `site 1, head 2, bract 3: −1`.
    pub wrong: String,
    /// What would be right: `a count is a whole number, 0 or more`.
    pub right: String,
}

/// What a finding expects of a record that is UTF-8 text and no JSON. The store keeps the words of a finding, so they
/// are what tells the two ways of [`Code::NotJson`] apart.
pub const WHOLE_JSON_EXPECTED: &str = "a whole JSON document is expected (RFC 8259); NaN, Infinity and numbers past 1.8e308 are not JSON";

/// What comes before the members that differ in the finding of a [`Code::RevisionConflict`].
pub const MEMBERS_STORED_AND_SENT: &str = "; stored → sent: ";

/// A finding in words. `record` is the record as sent, if it could be read: sites are called by the
/// numbers that their sender gave them.
pub fn in_words(finding: &Finding, record: Option<&Value>) -> InWords {
    let place = place_in_words(&finding.pointer, record);
    let found = shown(&finding.found);
    let expected = finding.expected.trim_start_matches("expected: ");
    let expected = expected
        .split(" (bractline.toml")
        .next()
        .unwrap_or(expected);
    let (wrong, right) = match finding.code {
        Code::MemberMissing => (format!("{place}: missing"), expected.to_owned()),
        Code::MemberUnknown => (
            format!("{place}: unknown field (not part of the form)"),
            format!(
                "leave it out; {}",
                expected.trim_start_matches("no such member: ")
            ),
        ),
        Code::DuplicateMember => (
            format!("{place}: it appears twice"),
            "each may appear once: keep the one that is meant".to_owned(),
        ),
        Code::RevisionConflict => (
            format!("{place}: {} than was accepted before", without_members(&found)),
            "if this is a correction, raise the revision by one; if the earlier record is right, nothing needs to be done: let us know, and this one is dropped"
                .to_owned(),
        ),
        Code::FieldNumberedAlike | Code::FieldOfAnotherSender => (
            format!("{place}: {}, which another sender uses too", without_sender(&found)),
            expected.to_owned(),
        ),
        Code::NotJson if expected == WHOLE_JSON_EXPECTED => (
            format!("the record cannot be read: {found}"),
            "the record is whole, every bracket and quotation mark is closed, and numbers \
             are plain digits (no NaN, no Infinity, none past 1.8e308)"
                .to_owned(),
        ),
        Code::NotJson => (
            format!("the record cannot be read: {found}"),
            "the file is saved as text in UTF-8".to_owned(),
        ),
        Code::WrongType | Code::OutOfRange if is_count(&finding.pointer) => (
            format!("{place}: {found}"),
            "a count is a whole number, 0 or more".to_owned(),
        ),
        _ => (format!("{place}: {found}"), expected.to_owned()),
    };
    InWords {
        wrong: on_one_line(&wrong),
        right: on_one_line(&right),
    }
}

/// The sender of a record is not shown what another record of the same visit says.
fn without_members(found: &str) -> &str {
    found
        .split_once(MEMBERS_STORED_AND_SENT)
        .map_or(found, |(without, _)| without)
}

/// Nor is it shown what another sender reported.
fn without_sender(found: &str) -> &str {
    found
        .split_once(OF_ANOTHER)
        .map_or(found, |(without, _)| without)
}

/// What was found, with the sign that print uses for a negative number.
fn shown(found: &str) -> String {
    match found.strip_prefix('-') {
        Some(number) if number.starts_with(|first: char| first.is_ascii_digit()) => {
            format!("\u{2212}{number}")
        }
        _ => found.to_owned(),
    }
}

/// A place in a record in words, counting from 1: `/sites/0/heads/1/2` is site 1, head 2, bract 3.
pub(crate) fn place_in_words(pointer: &str, record: Option<&Value>) -> String {
    let steps: Vec<String> = pointer
        .split('/')
        .skip(1)
        .map(|step| step.replace("~1", "/").replace("~0", "~"))
        .collect();
    let steps: Vec<&str> = steps.iter().map(String::as_str).collect();
    match steps.as_slice() {
        [] => "the record as a whole".to_owned(),
        ["sites"] => "the sites".to_owned(),
        ["sites", site, rest @ ..] => match place_in_site(rest) {
            Some(within) => format!("{}, {within}", site_in_words(site, record)),
            None => site_in_words(site, record),
        },
        steps => member_in_words(pointer, steps),
    }
}

fn site_in_words(step: &str, record: Option<&Value>) -> String {
    let Ok(place) = step.parse::<usize>() else {
        return format!("the sites, {step}");
    };
    let number = record
        .and_then(|record| record.get("sites")?.get(place)?.get("site")?.as_u64())
        .filter(|number| *number != place as u64 + 1);
    match number {
        Some(number) => format!("site {number} (number {} in the list)", place + 1),
        None => format!("site {}", place + 1),
    }
}

fn place_in_site(steps: &[&str]) -> Option<String> {
    Some(match steps {
        [] => return None,
        ["heads", head] => format!("head {}", from_one(head)),
        ["heads", head, bract] => format!("head {}, bract {}", from_one(head), from_one(bract)),
        ["plants", plant] => format!("plant {}", from_one(plant)),
        ["traps", trap] => format!("trap {}", from_one(trap)),
        ["traps", trap, member] => format!("trap {}, {member}", from_one(trap)),
        [member] => match called(&format!("/sites/{{site}}/{member}")) {
            Some(words) => with_name(words, steps),
            None => (*member).to_owned(),
        },
        other => other.join(", "),
    })
}

fn from_one(step: &str) -> String {
    match step.parse::<usize>() {
        Ok(place) => (place + 1).to_string(),
        Err(_) => step.to_owned(),
    }
}

/// Parts of a record that hold members, and what they are called.
const PARTS: [(&str, &str); 5] = [
    ("/field", "field"),
    ("/economics", "costs and values"),
    ("/economics/treatment_cost", "treatment cost"),
    ("/economics/market_value", "market price"),
    ("/economics/plant_population", "plant population"),
];
/// What is in one of these has no words of its own.
const CALLED_AS_A_WHOLE: [&str; 4] = [
    "/field/outline",
    "/economics/treatment_cost",
    "/economics/market_value",
    "/economics/plant_population",
];

fn member_in_words(pointer: &str, steps: &[&str]) -> String {
    let whole = CALLED_AS_A_WHOLE.into_iter().find(|whole| {
        let within = pointer.strip_prefix(whole);
        within.is_some_and(|rest| rest.starts_with('/'))
    });
    match called(pointer).or_else(|| called(whole?)) {
        Some(words) => with_name(words, steps),
        None => steps.join(", "),
    }
}

/// What a member or a part of a record is called.
fn called(pointer: &str) -> Option<&'static str> {
    let member = MEMBERS.iter().find(|member| member.pointer == pointer);
    let part = || PARTS.iter().find(|(part, _)| *part == pointer);
    let words = member.map(|member| member.words);
    words
        .or_else(|| part().map(|(_, words)| *words))
        .filter(|words| !words.is_empty())
}

/// Words with the member's own name after them, if that is another.
fn with_name(words: &str, steps: &[&str]) -> String {
    match steps.last() {
        Some(name) if words != *name => format!("{words} ({name})"),
        _ => words.to_owned(),
    }
}

/// Whether a pointer is that of one count.
fn is_count(pointer: &str) -> bool {
    let steps: Vec<&str> = pointer.split('/').skip(1).collect();
    matches!(
        steps.as_slice(),
        ["sites", _, "heads", _, _] | ["sites", _, "plants", _] | ["sites", _, "traps", _, "catch"]
    )
}

/// A text of other people in one line of ours: line breaks and other control characters are spaces,
/// and marks of writing direction, which show as nothing and turn what follows, are left out.
pub fn on_one_line(text: &str) -> String {
    text.chars()
        .filter(|character| {
            !matches!(character,
                '\u{200e}' | '\u{200f}' | '\u{061c}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
        })
        .map(|character| match character {
            '\u{2028}' | '\u{2029}' => ' ',
            character if character.is_control() => ' ',
            character => character,
        })
        .collect()
}

/// Whether a spreadsheet may take a text for a formula: it begins with one of the characters of
/// OWASP's page on CSV injection (= + - @, tab, carriage return, and the full-width forms of the
/// four), or with a line feed, behind which some look for one too.
pub fn starts_formula(text: &str) -> bool {
    text.starts_with([
        '=', '+', '-', '@', '\t', '\r', '\n', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}',
    ])
}

/// A text as it is written in CSV, which cannot say what is text: an apostrophe before what starts a formula.
pub fn disarmed(text: &str) -> String {
    match starts_formula(text) {
        true => format!("'{text}"),
        false => text.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn a_place_is_told_as_one_counts_in_a_field() {
        let record = json!({"sites": [{"site": 1}, {"site": 7}]});
        for (pointer, words) in [
            ("", "the record as a whole"),
            ("/sites", "the sites"),
            ("/sites/0", "site 1"),
            ("/sites/0/heads/1/2", "site 1, head 2, bract 3"),
            ("/sites/1/heads/0", "site 7 (number 2 in the list), head 1"),
            ("/sites/0/plants/9", "site 1, plant 10"),
            ("/sites/0/traps/0/nights", "site 1, trap 1, nights"),
            ("/sites/0/site", "site 1, number of the site (site)"),
            ("/sites/x", "the sites, x"),
            ("/observed_on", "visit date (observed_on)"),
            ("/revision", "revision"),
            (
                "/economics/treatment_cost/amount",
                "treatment cost (amount)",
            ),
            ("/field/a~1b~0c", "field, a/b~c"),
        ] {
            assert_eq!(place_in_words(pointer, Some(&record)), words, "{pointer}");
        }
        assert_eq!(place_in_words("/sites/1", None), "site 2");
    }

    #[test]
    fn a_finding_is_told_in_plain_words() {
        let finding = Finding::new(
            Code::OutOfRange,
            "/sites/0/heads/1/2",
            "-1",
            "expected: Individuals counted: a whole number from 0 to 1,000,000.",
        );
        let words = in_words(&finding, None);
        assert_eq!(words.wrong, "site 1, head 2, bract 3: \u{2212}1");
        assert_eq!(words.right, "a count is a whole number, 0 or more");

        let finding = Finding::new(
            Code::DateOutsideSeason,
            "/observed_on",
            "2026-01-05",
            "a day of the season is expected, 06-01 to 09-30 (bractline.toml, [season])",
        );
        let words = in_words(&finding, None);
        assert_eq!(words.wrong, "visit date (observed_on): 2026-01-05");
        assert_eq!(
            words.right,
            "a day of the season is expected, 06-01 to 09-30"
        );
    }

    #[test]
    fn texts_of_others_cannot_break_a_line_or_turn_it() {
        assert_eq!(on_one_line("a\r\nb\u{202e}c\u{0}\u{2028}d"), "a  bc  d");
        for formula in [
            "=1",
            "+1",
            "-1",
            "@a",
            "\t=1",
            "\r=1",
            "\u{ff1d}1",
            "\u{ff20}a",
        ] {
            assert!(starts_formula(formula), "{formula:?}");
        }
        for text in ["", "a=1", " =1", "'=1", "\u{2212}1", "{\"a\":-1}"] {
            assert!(!starts_formula(text), "{text:?}");
        }
    }
}
