//! Whether a text holds a name that was given in confidence: an id of a field, a farm, a scout or a visit.
//!
//! Names and texts are compared folded ([`super::folding`]), so another case, dash, script or spacing hides no
//! name. How much may be between the parts of a name depends on how telling it is: what is spread over a sentence
//! is a name if it is long, and a chance if it is short.
//! How telling a name is, and which names are not looked for, says [`super::name_kinds`]; names that public
//! files hold by right, such as the id of a county, are not looked for either.

use std::collections::{BTreeSet, HashMap};

use super::folding::{Folded, Gap, Piece};
use super::name_kinds::{Kind, kind_of};

/// Most characters between two pieces of a name in a page, and in a note, which somebody wrote by hand.
const GAP_MAX: [usize; 2] = [3, 8];

/// How closely a text is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Closeness {
    /// A file that the program wrote: names in it are met by chance in tables and sums.
    File = 0,
    /// Words that somebody wrote: a name may be spread over them on purpose.
    Note = 1,
}

/// The names to look for, by their folded letters.
#[derive(Debug, Default)]
pub(super) struct PrivateNames {
    by_letters: HashMap<String, Vec<Named>>,
    /// Long names, by their letters where those that look alike are one.
    by_looks: HashMap<String, Vec<Named>>,
    /// Bytes of the longest.
    longest: usize,
}

#[derive(Debug, Clone)]
struct Named {
    name: String,
    kind: Kind,
    /// Where the name is parted, bytes of its letters, and by what.
    cuts: Vec<(usize, Gap)>,
}

impl PrivateNames {
    /// The names of the store that a text can be held to; `public` are those that it may hold.
    pub(super) fn of(names: &BTreeSet<String>, public: &BTreeSet<String>) -> PrivateNames {
        let public: BTreeSet<String> = public.iter().map(|name| Folded::of(name).letters).collect();
        let mut all = PrivateNames::default();
        for name in names {
            let folded = Folded::of(name);
            let Some(kind) = kind_of(name, &folded) else {
                continue;
            };
            if public.contains(&folded.letters) {
                continue;
            }
            let named = Named {
                name: name.clone(),
                kind,
                cuts: cuts_of(&folded.pieces),
            };
            all.longest = all.longest.max(folded.letters.len());
            // Without one letter that looks like no digit, a name is a number to its reader.
            let is_plain = |c: char| c.is_alphabetic();
            if kind == Kind::Long && folded.look_alike.contains(is_plain) {
                let looks = all.by_looks.entry(folded.look_alike).or_default();
                looks.push(named.clone());
            }
            let letters = all.by_letters.entry(folded.letters).or_default();
            letters.push(named);
        }
        all
    }

    /// The first of the names that the text holds.
    pub(super) fn found_in<'a>(&'a self, text: &str, closeness: Closeness) -> Option<&'a str> {
        if self.by_letters.is_empty() {
            return None;
        }
        let folded = Folded::of(text);
        let pieces = &folded.pieces;
        for first in 0..pieces.len() {
            for last in first..pieces.len() {
                if last > first && !may_be_within(pieces[last].before, closeness) {
                    break;
                }
                let place = pieces[first].start..pieces[last].end;
                if place.len() > self.longest {
                    break;
                }
                let letters = self.by_letters.get(&folded.letters[place.clone()]);
                let looks = self.by_looks.get(&folded.look_alike[place.clone()]);
                if letters.is_none() && looks.is_none() {
                    continue;
                }
                let after = pieces
                    .get(last + 1)
                    .map_or(folded.after, |next| next.before);
                let is_end = last + 1 == pieces.len();
                let found = Found {
                    letters: &folded.letters[place],
                    pieces: &pieces[first..=last],
                    after: (!is_end || after.length > 0).then_some(after),
                    closeness,
                    digit_before: first > 0 && is_digit(&folded, pieces[first - 1]),
                    digit_after: !is_end && is_digit(&folded, pieces[last + 1]),
                    is_first: first == 0,
                };
                let mut named = letters.into_iter().chain(looks).flatten();
                if let Some(named) = named.find(|named| found.is(named)) {
                    return Some(&named.name);
                }
            }
        }
        None
    }
}

fn is_digit(folded: &Folded, piece: Piece) -> bool {
    folded.letters[piece.start..piece.end].ends_with(char::is_numeric)
}

/// Whether a name of any kind may go on after this gap.
fn may_be_within(gap: Gap, closeness: Closeness) -> bool {
    gap.length <= GAP_MAX[closeness as usize]
        && (closeness == Closeness::Note || !(gap.is_break || gap.ends_sentence))
}

/// Pieces of a text whose letters are those of a name.
struct Found<'a> {
    letters: &'a str,
    pieces: &'a [Piece],
    /// `None` where the text ends.
    after: Option<Gap>,
    closeness: Closeness,
    digit_before: bool,
    digit_after: bool,
    is_first: bool,
}

impl Found<'_> {
    fn is(&self, named: &Named) -> bool {
        let cuts = cuts_of(self.pieces);
        let is_tight = |gap: &Gap| gap.length == 1 && !gap.is_break;
        let same_places = || {
            cuts.iter()
                .map(|cut| cut.0)
                .eq(named.cuts.iter().map(|cut| cut.0))
        };
        let at_its_places = || {
            let places = |place: usize| named.cuts.iter().any(|cut| cut.0 == place);
            cuts.iter()
                .all(|(place, gap)| places(*place) && is_tight(gap))
        };
        if !self.stands_alone(named.kind) {
            return false;
        }
        match named.kind {
            Kind::Tiny => {
                let same = cuts.iter().zip(&named.cuts);
                same_places() && same.into_iter().all(|(one, other)| one.1 == other.1)
            }
            Kind::Short => at_its_places(),
            Kind::Digits => {
                (same_places() && cuts.iter().all(|(_, gap)| is_tight(gap)))
                    || (self.closeness == Closeness::Note && self.is_in_thousands(&cuts, named))
            }
            Kind::Words => self.closeness == Closeness::Note || at_its_places(),
            Kind::Long => self.closeness == Closeness::Note || self.splits_no_number(&cuts, named),
        }
    }

    /// Whether no number of the name is split: in the files of the program two figures side by side make many
    /// numbers, as `L12.345` and `L123 45` in a drawing make `L-12345`.
    fn splits_no_number(&self, cuts: &[(usize, Gap)], named: &Named) -> bool {
        cuts.iter().all(|(place, _)| {
            let (before, after) = self.letters.split_at(*place);
            let is_split =
                before.ends_with(char::is_numeric) && after.starts_with(char::is_numeric);
            !is_split || named.cuts.iter().any(|cut| cut.0 == *place)
        })
    }

    /// Not within a longer word, and not the digits before or after a decimal point. In a note a long name may touch
    /// a letter where it ends with a digit: `F-AAA111s`.
    fn stands_alone(&self, kind: Kind) -> bool {
        let before = self.pieces[0].before;
        let touches_before = !self.is_first && before.length == 0;
        let touches_after = self.after.is_some_and(|after| after.length == 0);
        if (touches_before || touches_after)
            && !(kind == Kind::Long && self.closeness == Closeness::Note)
        {
            return false;
        }
        let is_point = |gap: Gap| matches!(gap.only, Some('.' | ','));
        let is_fraction = (self.digit_before && is_point(before))
            || (self.digit_after && self.after.is_some_and(is_point));
        kind != Kind::Digits || !is_fraction
    }

    /// A number of digits alone, written in threes: `123 456`.
    fn is_in_thousands(&self, cuts: &[(usize, Gap)], named: &Named) -> bool {
        let end = self
            .pieces
            .iter()
            .map(|piece| piece.end - piece.start)
            .sum::<usize>();
        let is_three = |(place, gap): &(usize, Gap)| {
            (end - place).is_multiple_of(3) && gap.length == 1 && gap.only != Some('-')
        };
        named.cuts.is_empty() && cuts.len() == (end - 1) / 3 && cuts.iter().all(is_three)
    }
}

/// Where pieces are parted by something that is seen: bytes from the first one's start, and by what.
fn cuts_of(pieces: &[Piece]) -> Vec<(usize, Gap)> {
    let start = pieces.first().map_or(0, |piece| piece.start);
    let later = pieces
        .iter()
        .skip(1)
        .filter(|piece| piece.before.length > 0);
    later
        .map(|piece| (piece.start - start, piece.before))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(names: &[&str], public: &[&str]) -> PrivateNames {
        let set = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect();
        PrivateNames::of(&set(names), &set(public))
    }

    #[test]
    fn a_name_is_found_as_a_word_of_its_own_and_not_within_another() {
        let private = names(&["F-000123", "obs-0123", "north field 7", "#A1B2"], &[]);
        for (text, found) in [
            ("seen in F-000123.", Some("F-000123")),
            ("\"F-000123\"", Some("F-000123")),
            ("F-0001234", None),
            ("XF-000123", None),
            ("the north field 7, yes", Some("north field 7")),
            ("north field 70", None),
            ("north", None),
            ("#A1B2", Some("#A1B2")),
            ("", None),
        ] {
            for closeness in [Closeness::File, Closeness::Note] {
                assert_eq!(private.found_in(text, closeness), found, "{text}");
            }
        }
    }

    #[test]
    fn a_name_in_another_spelling_is_the_name() {
        let private = names(
            &["F-AAA111", "obs_scout7", "R-5102", "long meadow farm"],
            &[],
        );
        for text in [
            "f-aaa111",
            "F\u{2011}AAA111",
            "F\u{2013}AAA111",
            "F \u{2014} AAA111",
            "F AAA111",
            "FAAA111",
            "F_AAA_111",
            "F.AAA/111",
            "F-AAA\u{200b}111",
            "F-AAA\u{ad}111",
            "F-\u{410}AA111",
            "F-AAAlll",
            "F-AAAIl1",
            "OBS-Scout7",
            "ObsScout7",
            "Obs Scout 7",
            "r 5102",
            "R5102",
            "Long-Meadow Farm",
        ] {
            for closeness in [Closeness::File, Closeness::Note] {
                assert!(private.found_in(text, closeness).is_some(), "{text}");
            }
        }
        for text in [
            "F A A A 1 1 1",
            "F - AAA, 111",
            "F:\nAAA\n111",
            "F-AAA111s",
            "F-AAA111th",
            "1F-AAA111",
            "longmeadow; farm",
        ] {
            let found = private.found_in(text, Closeness::Note);
            assert!(found.is_some(), "{text}");
        }
    }

    #[test]
    fn figures_and_common_words_are_no_names() {
        let private = names(
            &[
                "north",
                "2026",
                "12345",
                "123456",
                "46013",
                "A1",
                "46013-1",
                "2026-W30",
                "R-51",
                "B-12",
                "Aug-12-2026",
                "2026-08-12",
                "20260812",
                "week-30",
                "12-13",
            ],
            &["46013"],
        );
        for text in [
            "north 2026 12345 46013 A1 2026-W30",
            "0.123456",
            "123456.25",
            "1123456",
            "R5.1",
            "R5 1",
            "Vitamin B 12, B: 12, b12",
            "August 12, 2026; Aug 12 2026; 2026-08-12; 20260812; week 30",
            "12-13 fields",
            "+1 605 123 4567",
            "4601, 31; 46 0131",
        ] {
            for closeness in [Closeness::File, Closeness::Note] {
                assert_eq!(private.found_in(text, closeness), None, "{text}");
            }
        }
        let close = |text| private.found_in(text, Closeness::Note);
        assert_eq!(close("field 123456"), Some("123456"));
        assert_eq!(close("field 123 456"), Some("123456"));
        assert_eq!(close("field 123,456"), Some("123456"));
        assert_eq!(close("field ١٢٣٤٥٦"), Some("123456"));
        assert_eq!(close("field 12 3456"), None);
        assert_eq!(close("46013-1"), Some("46013-1"));
        assert_eq!(close("46013\u{2013}1"), Some("46013-1"));
        assert_eq!(close("r\u{2011}51"), Some("R-51"));
        let file = |text| private.found_in(text, Closeness::File);
        assert_eq!(file("sums 123 456"), None);
    }

    #[test]
    fn figures_side_by_side_make_no_name_in_a_file() {
        let private = names(&["L-12345", "M-46013"], &[]);
        for text in ["L12.345", "M12.3 4.5L123 45 z", "M 46 013", "L 1234 5"] {
            assert_eq!(private.found_in(text, Closeness::File), None, "{text}");
            assert!(
                private.found_in(text, Closeness::Note).is_some() || text.contains("M12"),
                "{text}"
            );
        }
        for text in ["L 12345", "l12345", "M\u{2013}46013"] {
            assert!(private.found_in(text, Closeness::File).is_some(), "{text}");
        }
    }

    #[test]
    fn a_name_that_a_public_file_holds_by_right_is_none_in_any_spelling() {
        let private = names(&["SOUTH-COUNTY-1"], &["South County 1"]);
        assert_eq!(private.found_in("south county 1", Closeness::Note), None);
    }

    #[test]
    fn a_hundred_thousand_names_in_a_megabyte_take_no_time_to_speak_of() {
        let many: BTreeSet<String> = (0..100_000)
            .map(|number| format!("F-{number:06}"))
            .collect();
        let private = PrivateNames::of(&many, &BTreeSet::new());
        let text = "F is no field, nor is F-1 or 0.123456; ".repeat(25_000);
        for closeness in [Closeness::File, Closeness::Note] {
            assert_eq!(private.found_in(&text, closeness), None);
            let with = format!("{text}F-099999");
            assert_eq!(private.found_in(&with, closeness), Some("F-099999"));
        }
    }
}
