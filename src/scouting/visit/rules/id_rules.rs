//! What an id must not be: a telephone number, an e-mail address, a date, a mark for "not known", or a person's name.
//!
//! Ids are published nowhere, but they are kept for good and shown in reports of the office, so private data has no
//! place in them. What is found of a telephone number or an address is not repeated in the finding.

use jiff::civil::Date;

use crate::visit::code::Code;
use crate::visit::finding::Finding;
use crate::visit::record::Visit;

/// Words that people write where they do not know an id, in lower case.
const UNKNOWN: [&str; 6] = ["n/a", "#n/a", "none", "null", "unknown", "tbd"];
/// The shortest telephone numbers have seven digits: North American ones without their area code.
const TELEPHONE_DIGITS_MIN: usize = 7;
const MONTHS: [&str; 12] = [
    "jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec",
];

const SCOUT: &str = "/observer_id";

/// What is wrong with the ids of scout, field and farm.
pub(in crate::visit) fn id_findings(visit: &Visit) -> Vec<Finding> {
    let farm = visit.field.farm_id.as_deref();
    let ids = [
        (SCOUT, Some(visit.observer_id.as_str())),
        ("/field/field_id", Some(visit.field.field_id.as_str())),
        ("/field/farm_id", farm),
    ];
    let given = ids
        .into_iter()
        .filter_map(|(at, id)| Some((at, id?.trim())));
    given.filter_map(|(at, id)| id_finding(at, id)).collect()
}

fn id_finding(pointer: &str, id: &str) -> Option<Finding> {
    let finding =
        |code, found: &str, expected: &str| Some(Finding::new(code, pointer, found, expected));
    if is_mark(id) {
        return finding(
            Code::IdIsAMark,
            &format!("{id:?}"),
            "an id is expected; a mark for \"not known\" names nothing, and all that bear it would be taken for one",
        );
    }
    if is_date(id) {
        return finding(
            Code::IdIsADate,
            &format!("{id:?}"),
            "an id is expected; spreadsheets turn ids such as 3-4 into dates: set the column to text and type it again",
        );
    }
    let private = if is_address(id) {
        "an e-mail address"
    } else if is_telephone(id, pointer == SCOUT) {
        "a telephone number"
    } else {
        return None;
    };
    finding(
        Code::IdIsPrivate,
        private,
        "an id that tells nothing of a person is expected, such as a pseudonym; private data has no place in the store",
    )
}

/// A scout's id of two capitalized words or more: perhaps the scout's name.
pub(in crate::visit) fn id_like_a_name(visit: &Visit) -> Option<Finding> {
    let id = visit.observer_id.trim();
    let is_name_part = |word: &str| {
        word.starts_with(char::is_uppercase)
            && word
                .chars()
                .all(|letter| letter.is_alphabetic() || ".,'’-".contains(letter))
    };
    (id.split_whitespace().count() >= 2 && id.split_whitespace().all(is_name_part)).then(|| {
        Finding::new(
            Code::IdLikeAName,
            SCOUT,
            format!("the scout id {id:?}"),
            "is it the name of a person? A pseudonym says as much, and names nobody",
        )
    })
}

fn is_mark(id: &str) -> bool {
    !id.chars().any(char::is_alphanumeric) || UNKNOWN.contains(&id.to_lowercase().as_str())
}

/// A day as spreadsheets write it: 2026-03-04, 3/4/2026, 4-Mar, Mar-26.
fn is_date(id: &str) -> bool {
    if let Some((day, rest)) = id.split_at_checked(10)
        && (rest.is_empty() || rest.starts_with(['T', ' ']))
        && id.as_bytes()[4] == b'-'
        && day.parse::<Date>().is_ok()
    {
        return true;
    }
    let is_digits = |part: &&str| part.bytes().all(|byte| byte.is_ascii_digit());
    let is_number = |part: &&str| matches!(part.len(), 1 | 2 | 4) && is_digits(part);
    let slashed: Vec<&str> = id.split('/').collect();
    if let [one, two, year] = slashed.as_slice() {
        let small = |part: &str| {
            part.parse()
                .is_ok_and(|number: u8| (1..=31).contains(&number))
        };
        return small(one) && small(two) && is_number(year) && year.len() > 1;
    }
    let parts: Vec<&str> = id.split('-').collect();
    let is_month = |part: &&str| MONTHS.contains(&part.to_lowercase().as_str());
    let months = parts.iter().filter(|part| is_month(part)).count();
    (2..=3).contains(&parts.len())
        && months == 1
        && parts.iter().all(|part| is_month(part) || is_number(part))
}

fn is_address(id: &str) -> bool {
    id.split_whitespace().any(|word| {
        let halves = word.split_once('@');
        halves.is_some_and(|(name, host)| !name.is_empty() && host.contains('.'))
    })
}

/// A number in the North American form 605-555-0123, or one that begins with +. Of a scout also any seven digits
/// with separators; fields and farms have numbers of that form, such as 1234-5678.
fn is_telephone(id: &str, of_scout: bool) -> bool {
    let is_part = |letter: char| letter.is_ascii_digit() || "()+.-/ ".contains(letter);
    let mut runs = id.split(|letter| !is_part(letter));
    let in_form = runs.any(|run| {
        let groups: Vec<usize> = run
            .split(|letter: char| !letter.is_ascii_digit())
            .filter(|group| !group.is_empty())
            .map(str::len)
            .collect();
        let run = run.trim_start();
        let many = groups.iter().sum::<usize>() >= TELEPHONE_DIGITS_MIN;
        let american = matches!(groups.as_slice(), [3, 3, 4] | [1, 3, 3, 4]);
        american && !run.starts_with(['-', '.', '/']) || many && run.starts_with('+')
    });
    let digits = id.bytes().filter(u8::is_ascii_digit).count();
    let separated = id.chars().all(is_part) && digits < id.len();
    in_form || of_scout && separated && digits >= TELEPHONE_DIGITS_MIN
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn private_ids_marks_and_dates_are_told_from_ids() {
        let private = Some(Code::IdIsPrivate);
        let (mark, day) = (Some(Code::IdIsAMark), Some(Code::IdIsADate));
        let cases = [
            ("obs-9001", None, None),
            ("F-000123", None, None),
            ("912000000001", None, None),
            ("1234-5678", private, None),
            ("(605) 555-0123", private, private),
            ("605-555-0123", private, private),
            ("1 605.555.0123", private, private),
            ("+49 30 1234567", private, private),
            ("Jo Invented 605-555-0123", private, private),
            ("F-605-555-0123", None, None),
            ("555-0123", private, None),
            ("jo@farm.example", private, private),
            ("Jo <jo@farm.example>", private, private),
            ("field@north", None, None),
            ("?", mark, mark),
            ("--", mark, mark),
            ("N/A", mark, mark),
            ("NA", None, None),
            ("2026-03-04", day, day),
            ("2026-03-04T00:00:00", day, day),
            ("2026-03-04-A", None, None),
            ("3/4/2026", day, day),
            ("4-Mar", day, day),
            ("Mar-26", day, day),
            ("Mar-North", None, None),
            ("3-4", None, None),
            ("T104N-R72W-12", None, None),
            ("Champ é-é", None, None),
        ];
        for (id, of_scout, of_field) in cases {
            let code = |pointer| id_finding(pointer, id).map(|finding| finding.code);
            assert_eq!(code(SCOUT), of_scout, "{id:?} of a scout");
            assert_eq!(code("/field/field_id"), of_field, "{id:?} of a field");
        }
    }
}
