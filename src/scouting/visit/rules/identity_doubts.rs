//! Doubts about whose field a visit is of: a number that another sender uses too, and an id that looks like another.

use crate::visit::code::Code;
use crate::visit::finding::Finding;
use crate::visit::record::Visit;
use crate::visit::rules::doubts::{Elsewhere, FIELD_APART_MAX_M};

/// What comes before another sender in a finding: whoever gets a letter is not shown what another sender reported.
pub(in crate::visit) const OF_ANOTHER: &str = ", an id that ";

/// The field's id came before in this season from another sender. Nearby it may be one field that two offices visit;
/// far away it is another field of the same number, which would take the place of the first in every week. Where one of the
/// points is not known, `other` is `None`.
pub fn field_of_another_sender(
    visit: &Visit,
    (sender, other_sender): (&str, &str),
    other: Option<Elsewhere>,
) -> Finding {
    let field_id = &visit.field.field_id;
    let ways = format!(
        "(bractline.toml, [senders.{sender:?}] field_prefix, or fieldPrefix in [visitId] of the mapping, puts a prefix before the ids of {sender})"
    );
    if let Some(other) = other.filter(|other| other.meters > FIELD_APART_MAX_M) {
        return Finding::new(
            Code::FieldNumberedAlike,
            "/field/field_id",
            format!(
                "{field_id:?} of {sender}{OF_ANOTHER}{other_sender} gave to a field {:.1} km away, lon {}, lat {}",
                other.meters / 1_000.0,
                other.lon,
                other.lat
            ),
            format!(
                "an id that no other sender's field has; if it is the same field, its point is to be corrected {ways}"
            ),
        );
    }
    Finding::new(
        Code::FieldOfAnotherSender,
        "/field/field_id",
        format!(
            "{field_id:?} of {sender}{OF_ANOTHER}{other_sender} reported before in this season"
        ),
        format!(
            "is it one field that both visit? then nothing needs to be done; if each numbers its own fields, they need ids that differ {ways}"
        ),
    )
}

/// Another field of this season has an id that differs by no more than how it is written.
pub fn field_id_look_alike(visit: &Visit, other_field_id: &str) -> Finding {
    Finding::new(
        Code::FieldIdLookAlike,
        "/field/field_id",
        format!(
            "the field {:?}, where a visit of this season has the field {other_field_id:?}",
            visit.field.field_id
        ),
        "this may be one field under two ids, which would count twice: write the id the same way each time",
    )
}

/// The visit takes the place of what was read of the same record before, by a mapping that was corrected since.
pub fn supersedes_revision(visit: &Visit, before: u32, members: &str) -> Finding {
    Finding::new(
        Code::SupersedesRevision,
        "/revision",
        format!(
            "revision {} of {} in the place of revision {before}: {members}",
            visit.revision, visit.visit_id
        ),
        "what changed, as it was before and as it is now; `bractline submissions undo` takes the load back",
    )
}

/// An id as the eye takes it: small letters, no zeros at the front of a number, 0 for the letter O, and spaces, hyphens
/// and underscores only between two figures, where they part two numbers: 1-12 is not 11-2.
pub fn as_it_looks(id: &str) -> String {
    let letters: Vec<char> = id.chars().flat_map(char::to_lowercase).collect();
    let is_joint = |c: char| c.is_whitespace() || matches!(c, '-' | '_' | '\u{2010}'..='\u{2015}');
    let mut looks = String::with_capacity(id.len());
    let mut place = 0;
    while let Some(&letter) = letters.get(place) {
        place += 1;
        if is_joint(letter) {
            while letters.get(place).is_some_and(|next| is_joint(*next)) {
                place += 1;
            }
            let parts_numbers =
                looks.ends_with(figure) && letters.get(place).is_some_and(|c| figure(*c));
            looks.extend(parts_numbers.then_some('-'));
            continue;
        }
        let letter = if letter == 'o' { '0' } else { letter };
        let starts_number = !looks.ends_with(|c: char| c.is_ascii_digit());
        let goes_on = letters.get(place).is_some_and(|c| figure(*c));
        if !(letter == '0' && starts_number && goes_on) {
            looks.push(letter);
        }
    }
    looks
}

/// A figure, or the letter that looks like one.
fn figure(letter: char) -> bool {
    letter.is_ascii_digit() || letter == 'o'
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_that_differ_by_how_they_are_written_look_the_same() {
        for (one, other) in [
            ("F-101", "f-101"),
            ("F 101", "F101"),
            ("F-101", "F_0101"),
            ("0101", "101"),
            ("12-3", "12 3"),
            ("1-02", "1-2"),
            ("F-1O1", "F-101"),
            ("North  3", "north-3"),
        ] {
            assert_eq!(as_it_looks(one), as_it_looks(other), "{one} {other}");
        }
    }

    #[test]
    fn ids_of_two_fields_do_not_look_the_same() {
        for (one, other) in [
            ("1-12", "11-2"),
            ("1-12", "112"),
            ("F-10", "F-1"),
            ("F-0", "F-00-1"),
            ("100", "10"),
            ("F-1.5", "F-15"),
            ("N-12", "S-12"),
        ] {
            assert_ne!(as_it_looks(one), as_it_looks(other), "{one} {other}");
        }
    }
}
