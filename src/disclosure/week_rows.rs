//! Which rows a week has, given those that are public already.
//!
//! A field that is in a row stays in it, so rows have no field in common. Fields of a county with too few go to the row
//! of the rest of its district, and from there to that of the rest of the region; so do fields that come too late for
//! a row ([`super::editions`]).

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::cell::Withheld;
use super::editions::{Decision, Entry, Published, decision};
use super::field::{FieldWeek, Id};
use super::place::Place;
use super::public_row::{PublicRow, public_row};
use super::rule::Rule;
use super::week::Week;

/// What became of the fields of a county.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outcome {
    /// The county.
    pub county_id: String,
    /// The place of the row that most of its fields are in; `None` if they are in no row.
    pub place: Option<Place>,
    /// Why the county has no row of its own.
    pub withheld: Option<Withheld>,
}

/// The rows of a week.
#[derive(Debug, Clone, Default)]
pub struct WeekRows {
    /// Entries that are not public yet.
    pub entering: Vec<Entry>,
    /// Every row that is shown, public or entering, by place.
    pub shown: Vec<PublicRow>,
    /// What became of each county with visits.
    pub outcomes: Vec<Outcome>,
}

/// Decides place by place which rows a week has, and keeps what is decided.
struct Placing<'a> {
    week: &'a Week<'a>,
    rule: &'a Rule,
    /// The newest entry of each place that is public.
    latest: BTreeMap<&'a Place, &'a Published>,
    /// The place whose row a field is in, in any edition of it: the field stays there.
    bound: HashMap<Id, &'a Place>,
    /// The newest entry of each place, public or entering.
    kept: BTreeMap<Place, Published>,
    /// The place in whose row a field is counted now.
    counted_in: HashMap<Id, Place>,
    entering: Vec<Entry>,
}

impl<'a> Placing<'a> {
    fn new(week: &'a Week<'a>, published: &'a [Published], rule: &'a Rule) -> Placing<'a> {
        let latest: BTreeMap<&Place, &Published> = published
            .iter()
            .map(|one| (&one.entry.row.place, one))
            .collect();
        let mut bound = HashMap::new();
        for one in published {
            for member in &one.entry.members {
                bound.entry(member.field).or_insert(&one.entry.row.place);
            }
        }
        let kept = latest
            .iter()
            .map(|(place, one)| ((*place).clone(), (*one).clone()));
        Placing {
            week,
            rule,
            kept: kept.collect(),
            latest,
            bound,
            counted_in: HashMap::new(),
            entering: Vec::new(),
        }
    }

    fn bound_to(&self, field: &FieldWeek) -> Option<&'a Place> {
        self.bound.get(&field.field).copied()
    }

    /// Decides on the row of a place; the fields that are left for a wider one, and why, if the place has no row.
    fn decide(
        &mut self,
        place: &Place,
        fields: &[&'a FieldWeek],
    ) -> (BTreeSet<Id>, Option<Withheld>) {
        let own = fields.iter().copied();
        let own = own.filter(|field| self.bound_to(field).is_none_or(|bound| bound == place));
        let own: Vec<&FieldWeek> = own.collect();
        let published = self.latest.get(place).copied();
        match decision(self.week, place, own.clone(), published, self.rule) {
            Decision::Enter(entry) => {
                self.enter(entry);
                self.count(place, &own, &BTreeSet::new());
                (BTreeSet::new(), None)
            }
            Decision::Keep { late, again } => {
                // A row of a withdrawn alert that is still true may be shown again: it gives nothing new.
                if let Some(entry) = again {
                    self.enter(entry);
                }
                let late = ids(&late);
                self.count(place, &own, &late);
                (late, None)
            }
            Decision::Pool(pool, why) => (ids(&pool), Some(why)),
        }
    }

    fn enter(&mut self, entry: Entry) {
        let newest = Published {
            entry: entry.clone(),
            withdrawn: false,
        };
        self.kept.insert(entry.row.place.clone(), newest);
        self.entering.push(entry);
    }

    /// Notes in which row these fields, but the late ones, are counted.
    fn count(&mut self, place: &Place, own: &[&FieldWeek], late: &BTreeSet<Id>) {
        let Some(newest) = self.kept.get(place) else {
            return;
        };
        for field in own {
            if !late.contains(&field.field) && is_counted(field, &newest.entry.row) {
                self.counted_in.insert(field.field, place.clone());
            }
        }
    }

    /// What became of a county: the place that counts most of its fields, and why it has no row of its own.
    fn outcome(&self, county: &str, own: &[&FieldWeek], withheld: Option<Withheld>) -> Outcome {
        let mut places: BTreeMap<&Place, usize> = BTreeMap::new();
        for field in own {
            if let Some(place) = self.counted_in.get(&field.field) {
                *places.entry(place).or_default() += 1;
            }
        }
        let most = places.into_iter().max_by_key(|(_, fields)| *fields);
        let place = most.map(|(place, _)| place.clone());
        Outcome {
            county_id: county.to_owned(),
            place,
            withheld,
        }
    }
}

/// The rows of a week, given the entries of that week that are public already, in the order in which they became it.
///
/// Counties come first, then the districts with what counties left, then the region with what districts left.
pub fn week_rows(
    week: &Week,
    fields: &[FieldWeek],
    published: &[Published],
    rule: &Rule,
) -> WeekRows {
    let mut placing = Placing::new(week, published, rule);
    let mut by_county: BTreeMap<&str, Vec<&FieldWeek>> = BTreeMap::new();
    for field in fields {
        by_county.entry(&field.county_id).or_default().push(field);
    }
    let mut reasons: BTreeMap<&str, Option<Withheld>> = BTreeMap::new();
    let mut pooled: BTreeMap<Place, Vec<&FieldWeek>> = BTreeMap::new();
    for (county, own) in &by_county {
        let place = Place::County((*county).to_owned());
        let (left, why) = placing.decide(&place, own);
        // Fields that are in a row elsewhere are no reason: the county's own fields are.
        let why = why.and_then(|_| public_row(&week.heading(&place), own, rule).err());
        reasons.insert(county, why);
        // Fields of an earlier pool stay in it, wherever their county is now.
        let goes_on = own.iter().copied().filter(|field| {
            let bound = placing.bound_to(field);
            left.contains(&field.field) || bound.is_some_and(|place| place.county().is_none())
        });
        pooled
            .entry(week.beyond(county))
            .or_default()
            .extend(goes_on);
    }
    let mut last: Vec<&FieldWeek> = pooled.remove(&Place::Region).unwrap_or_default();
    for (district, own) in &pooled {
        let (left, _) = placing.decide(district, own);
        last.extend(own.iter().copied().filter(|field| {
            left.contains(&field.field) || placing.bound_to(field) == Some(&Place::Region)
        }));
    }
    placing.decide(&Place::Region, &last);
    let outcomes = by_county
        .iter()
        .map(|(county, own)| placing.outcome(county, own, reasons.get(county).copied().flatten()));
    WeekRows {
        outcomes: outcomes.collect(),
        shown: placing
            .kept
            .into_values()
            .filter(|one| one.is_shown(rule, week.farms_known))
            .map(|one| one.entry.row)
            .collect(),
        entering: placing.entering,
    }
}

fn ids(fields: &[&FieldWeek]) -> BTreeSet<Id> {
    fields.iter().map(|field| field.field).collect()
}

/// Whether a row counts per field of its own: those at another crop stage are in it, and may be too few to show.
fn is_counted(field: &FieldWeek, row: &PublicRow) -> bool {
    field.in_window || row.fields_outside_stage.is_some()
}

#[cfg(test)]
mod tests {
    use jiff::civil::Date;

    use super::*;
    use crate::invented::field;
    use crate::rule::Level;
    use scouting::visit::week::Weeks;

    /// So many fields of a county, each of a farm of its own.
    fn fields(county: &str, names: std::ops::Range<u32>, pressure: f64) -> Vec<FieldWeek> {
        let one = |name| {
            let name = format!("{county}-{name}");
            field(&name, &name, county, pressure)
        };
        names.map(one).collect()
    }

    fn districts() -> BTreeMap<String, String> {
        let pairs = [("a", "north"), ("b", "north"), ("c", "south")];
        let owned = |(county, district): (&str, &str)| (county.to_owned(), district.to_owned());
        pairs.map(owned).into()
    }

    fn rows(fields: &[FieldWeek], published: &[Published], rule: &Rule) -> WeekRows {
        let districts = districts();
        let week = Week {
            season: 2026,
            iso_week: "2026-W30",
            weeks: &Weeks::ISO,
            protocol: "bsm-eggs",
            visits_until: Date::constant(2026, 7, 27),
            farms_known: true,
            districts: &districts,
        };
        week_rows(&week, fields, published, rule)
    }

    fn publish(published: &mut Vec<Published>, rows: WeekRows) -> WeekRows {
        let entries = rows.entering.iter().cloned();
        published.extend(entries.map(|entry| Published {
            entry,
            withdrawn: false,
        }));
        rows
    }

    fn place_names(rows: &[PublicRow]) -> Vec<(String, u8, u32)> {
        let said = |row: &PublicRow| (row.place.in_words(), row.edition, row.fields_visited);
        rows.iter().map(said).collect()
    }

    #[test]
    fn counties_with_too_few_are_pooled_by_district_and_then_by_region() {
        let all = [
            fields("a", 0..5, 0.5),
            fields("b", 0..2, 0.5),
            fields("c", 0..2, 2.0),
            fields("d", 0..1, 2.0),
        ]
        .concat();
        let made = rows(&all, &[], &Rule::LEAST);
        // b has 2 fields and no other of its district is left; c and d come together in the region.
        let names = place_names(&made.shown);
        assert_eq!(
            names,
            [
                ("a".to_owned(), 1, 5),
                ("elsewhere in the region".to_owned(), 1, 5)
            ]
        );
        let four = [fields("a", 0..2, 0.5), fields("b", 0..2, 0.5)].concat();
        let names = place_names(&rows(&four, &[], &Rule::LEAST).shown);
        assert_eq!(names, [("elsewhere in north".to_owned(), 1, 4)]);
        assert!(rows(&four[..2], &[], &Rule::LEAST).shown.is_empty());
    }

    #[test]
    fn one_late_field_changes_no_row_and_three_do_once() {
        let mut published = Vec::new();
        let first = fields("a", 0..6, 0.5);
        publish(&mut published, rows(&first, &[], &Rule::LEAST));
        // One late field: the row stays, byte for byte.
        let late = fields("a", 0..7, 0.5);
        let made = rows(&late, &published, &Rule::LEAST);
        assert!(made.entering.is_empty());
        assert_eq!(made.shown, [published[0].entry.row.clone()]);
        // Three late fields of three farms: a second edition of all.
        let three = fields("a", 0..9, 0.5);
        let made = rows(&three, &published, &Rule::LEAST);
        let made = publish(&mut published, made);
        assert_eq!(place_names(&made.shown), [("a".to_owned(), 2, 9)]);
        // Whatever comes later goes elsewhere; there is no third.
        let more = [fields("a", 0..13, 0.5), fields("b", 0..1, 0.5)].concat();
        let made = rows(&more, &published, &Rule::LEAST);
        assert_eq!(
            place_names(&made.shown),
            [
                ("a".to_owned(), 2, 9),
                ("elsewhere in north".to_owned(), 1, 5)
            ]
        );
    }

    #[test]
    fn three_late_fields_of_one_farm_and_a_field_that_is_gone_change_nothing() {
        let mut published = Vec::new();
        let first = fields("a", 0..6, 0.5);
        publish(&mut published, rows(&first, &[], &Rule::LEAST));
        let mut of_one = first.clone();
        of_one.extend((10..13).map(|name| field(&format!("x{name}"), "one", "a", 3.0)));
        for now in [of_one, first[1..].to_vec(), first[4..].to_vec()] {
            let made = rows(&now, &published, &Rule::LEAST);
            assert!(made.entering.is_empty(), "{:?}", made.entering);
            assert_eq!(made.shown, [published[0].entry.row.clone()]);
        }
    }

    #[test]
    fn a_field_that_is_in_a_row_elsewhere_stays_there() {
        let mut published = Vec::new();
        let few = [fields("a", 0..2, 0.5), fields("b", 0..2, 0.5)].concat();
        publish(&mut published, rows(&few, &[], &Rule::LEAST));
        // The county has enough now, but two of its fields are in the row of the district.
        let now = [fields("a", 0..4, 0.5), fields("b", 0..2, 0.5)].concat();
        let made = rows(&now, &published, &Rule::LEAST);
        assert_eq!(
            place_names(&made.shown),
            [("elsewhere in north".to_owned(), 1, 4)]
        );
        let now = [fields("a", 0..5, 0.5), fields("b", 0..2, 0.5)].concat();
        let made = rows(&now, &published, &Rule::LEAST);
        assert_eq!(
            place_names(&made.shown),
            [
                ("a".to_owned(), 1, 3),
                ("elsewhere in north".to_owned(), 1, 4)
            ]
        );
    }

    #[test]
    fn a_withdrawn_row_comes_back_unless_something_of_it_has_changed() {
        let mut published = Vec::new();
        let first = fields("a", 0..6, 0.5);
        publish(&mut published, rows(&first, &[], &Rule::LEAST));
        published[0].withdrawn = true;
        let made = rows(&first, &published, &Rule::LEAST);
        assert_eq!(made.entering, [published[0].entry.clone()]);
        // One corrected field: the row is wrong, and its correction would disclose that field.
        let mut corrected = first.clone();
        corrected[0].pressure = 2.0;
        let made = rows(&corrected, &published, &Rule::LEAST);
        assert!(made.entering.is_empty() && made.shown.is_empty());
        // Three corrected fields of three farms may be reported.
        for field in &mut corrected[..3] {
            field.pressure = 2.0;
        }
        let made = rows(&corrected, &published, &Rule::LEAST);
        assert_eq!(place_names(&made.shown), [("a".to_owned(), 2, 6)]);
        assert_eq!(made.shown[0].at_threshold, [3, 3]);
    }

    #[test]
    fn strict_intervals_of_two_editions_do_not_give_all_late_fields_away() {
        let strict = Rule {
            level: Level::Strict,
            ..Rule::LEAST
        };
        let mut published = Vec::new();
        let first = fields("a", 0..6, 0.5);
        publish(&mut published, rows(&first, &[], &strict));
        assert_eq!(published[0].entry.row.at_threshold, [0, 0]);
        // Three late fields, all at threshold: from none to 3 or more of 9 would tell it of each.
        let mut now = first.clone();
        now.extend(fields("a", 6..9, 2.0));
        let made = rows(&now, &published, &strict);
        assert_eq!(made.shown[0], published[0].entry.row);
        // They are shown by themselves, as an interval that begins at 1.
        assert_eq!(
            place_names(&made.shown)[1..],
            [("elsewhere in north".to_owned(), 1, 3)]
        );
        assert_eq!(made.shown[1].at_threshold, [1, 3]);
    }

    #[test]
    fn settings_that_were_raised_hide_rows_that_were_public() {
        let mut published = Vec::new();
        let first = fields("a", 0..4, 0.5);
        publish(&mut published, rows(&first, &[], &Rule::LEAST));
        let raised = Rule {
            min_fields: 5,
            ..Rule::LEAST
        };
        assert!(rows(&first, &published, &raised).shown.is_empty());
        assert_eq!(rows(&first, &published, &Rule::LEAST).shown.len(), 1);
    }
}
