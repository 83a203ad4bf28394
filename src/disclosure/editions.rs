//! Which rows a week has, given those that are public already.
//!
//! A field that is in a row stays in it. A place's row is made again once at most, and only if the fields that were
//! added, changed or taken away since are a group that could be shown by itself: the difference of the two rows then
//! tells no more of a field than a row does. Otherwise the first row stays as it is, and what came later goes to the
//! rows `elsewhere in …`.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::cell::{Withheld, judge};
use super::field::{FieldWeek, Id};
use super::public_row::{Heading, Place, PublicRow, public_row};
use super::rule::{Level, Rule};

/// A field of a public row. Private: it is kept in the store, and tells later what has changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Member {
    /// The field.
    pub field: Id,
    /// Its farm.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub farm: Option<Id>,
    /// What the row was told of it.
    pub state: Id,
    /// Whether it was in the stage window.
    pub in_window: bool,
}

impl Member {
    fn of(field: &FieldWeek) -> Member {
        Member {
            field: field.field,
            farm: field.farm,
            state: field.state(),
            in_window: field.in_window,
        }
    }
}

/// A row as it enters the table of public rows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// What is public.
    pub row: PublicRow,
    /// The fields that it rests on. Private.
    pub members: Vec<Member>,
}

/// An entry that is public, in the order of its edition.
#[derive(Debug, Clone, PartialEq)]
pub struct Published {
    /// The entry.
    pub entry: Entry,
    /// Whether the alert that brought it was withdrawn: it is shown no more, and what it told is known all the same.
    pub withdrawn: bool,
}

/// One week under one protocol, and what is known of it.
#[derive(Debug, Clone)]
pub struct Week<'a> {
    /// The ISO week-year.
    pub season: i32,
    /// ISO 8601 week.
    pub iso_week: &'a str,
    /// The protocol's id.
    pub protocol: &'a str,
    /// Day of the newest submission.
    pub visits_until: Date,
    /// Whether any visit of the season names a farm.
    pub farms_known: bool,
    /// The district of each county that has one.
    pub districts: &'a BTreeMap<String, String>,
}

/// What became of the fields of a county.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outcome {
    /// The county.
    pub county_id: String,
    /// The place of the row that most of its fields are in; `None` if they are in no row.
    pub place: Option<Place>,
    /// Edition of that row; 0 if there is none.
    pub edition: u8,
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

/// What becomes of a place.
enum Decision<'a> {
    /// It has a new row, or a second edition.
    Enter(Entry),
    /// Its row stays.
    Keep {
        /// Fields that came too late for it.
        late: Vec<&'a FieldWeek>,
        /// The entry once more, where its alert was withdrawn and nothing of it has changed.
        again: Option<Entry>,
    },
    /// It has no row: its fields go on.
    Pool(Vec<&'a FieldWeek>, Withheld),
}

/// The rows of a week, given the entries of that week that are public already, in the order in which they became it.
pub fn week_rows(
    week: &Week,
    fields: &[FieldWeek],
    published: &[Published],
    rule: &Rule,
) -> WeekRows {
    let mut latest: BTreeMap<&Place, &Published> = BTreeMap::new();
    for one in published {
        latest.insert(&one.entry.row.place, one);
    }
    // A field is bound to the place whose row it is in, in any edition of it.
    let mut bound: HashMap<Id, &Place> = HashMap::new();
    for one in published {
        for member in &one.entry.members {
            bound.entry(member.field).or_insert(&one.entry.row.place);
        }
    }
    let mut rows = WeekRows::default();
    let mut kept: BTreeMap<Place, (PublicRow, bool)> = latest
        .iter()
        .map(|(place, one)| ((*place).clone(), (one.entry.row.clone(), one.withdrawn)))
        .collect();
    let mut reasons: BTreeMap<String, Option<Withheld>> = BTreeMap::new();
    let mut place_of: HashMap<Id, Place> = HashMap::new();
    let mut decide = |place: &Place, own: Vec<&'_ FieldWeek>| -> (Vec<Id>, Option<Withheld>) {
        let bound_here = own
            .iter()
            .copied()
            .filter(|field| bound.get(&field.field).is_none_or(|other| *other == place));
        let own: Vec<&FieldWeek> = bound_here.collect();
        match decision(week, place, own.clone(), latest.get(place).copied(), rule) {
            Decision::Enter(entry) => {
                for field in own.iter().filter(|field| is_told_of(field, &entry.row)) {
                    place_of.insert(field.field, place.clone());
                }
                kept.insert(place.clone(), (entry.row.clone(), false));
                rows.entering.push(entry);
                (Vec::new(), None)
            }
            Decision::Keep { late, again } => {
                // A row of a withdrawn alert that is still true may be shown again: it tells nothing new.
                if let Some(entry) = again {
                    kept.insert(place.clone(), (entry.row.clone(), false));
                    rows.entering.push(entry);
                }
                let late: BTreeSet<Id> = late.iter().map(|field| field.field).collect();
                if let Some((row, _)) = kept.get(place) {
                    let members = own.iter().filter(|field| !late.contains(&field.field));
                    for field in members.filter(|field| is_told_of(field, row)) {
                        place_of.insert(field.field, place.clone());
                    }
                }
                (late.into_iter().collect(), None)
            }
            Decision::Pool(pool, why) => {
                (pool.iter().map(|field| field.field).collect(), Some(why))
            }
        }
    };
    let mut by_county: BTreeMap<&str, Vec<&FieldWeek>> = BTreeMap::new();
    for field in fields {
        by_county.entry(&field.county_id).or_default().push(field);
    }
    let mut pooled: BTreeMap<Place, Vec<&FieldWeek>> = BTreeMap::new();
    let district_of = |county: &str| match week.districts.get(county) {
        Some(name) => Place::District(name.clone()),
        None => Place::Region,
    };
    for (county, own) in &by_county {
        let place = Place::County((*county).to_owned());
        let (left, why) = decide(&place, own.clone());
        // Fields that are in a row elsewhere are no reason: the county's own fields are.
        let why = why.and_then(|_| public_row(&heading_of(week, &place), own, rule).err());
        reasons.insert((*county).to_owned(), why);
        let left: BTreeSet<Id> = left.into_iter().collect();
        // Fields of an earlier pool stay in it, wherever their county is now.
        let goes_on = own.iter().copied().filter(|field| {
            left.contains(&field.field)
                || bound
                    .get(&field.field)
                    .is_some_and(|place| place.county().is_none())
        });
        let pool = pooled.entry(district_of(county)).or_default();
        pool.extend(goes_on);
    }
    let mut last: Vec<&FieldWeek> = pooled.remove(&Place::Region).unwrap_or_default();
    for (district, own) in &pooled {
        let (left, _) = decide(district, own.clone());
        let left: BTreeSet<Id> = left.into_iter().collect();
        last.extend(own.iter().copied().filter(|field| {
            left.contains(&field.field) || bound.get(&field.field) == Some(&&Place::Region)
        }));
    }
    decide(&Place::Region, last);
    for (county, own) in &by_county {
        let mut places: BTreeMap<&Place, usize> = BTreeMap::new();
        for field in own {
            if let Some(place) = place_of.get(&field.field) {
                *places.entry(place).or_default() += 1;
            }
        }
        let most = places.iter().max_by_key(|(_, fields)| **fields);
        let place = most.map(|(place, _)| (*place).clone());
        let row = place.as_ref().and_then(|place| kept.get(place));
        rows.outcomes.push(Outcome {
            county_id: (*county).to_owned(),
            edition: row.map_or(0, |(row, _)| row.edition),
            place,
            withheld: reasons.get(*county).copied().flatten(),
        });
    }
    rows.shown = kept
        .into_values()
        .filter(|(row, withdrawn)| !withdrawn && row.satisfies(rule, week.farms_known))
        .map(|(row, _)| row)
        .collect();
    rows
}

/// Whether a row counts a field of its own: those at another crop stage are in it, and may be too few to be told of.
fn is_told_of(field: &FieldWeek, row: &PublicRow) -> bool {
    field.in_window || row.fields_outside_stage.is_some()
}

fn heading_of<'a>(week: &'a Week, place: &'a Place) -> Heading<'a> {
    Heading {
        place,
        season: week.season,
        iso_week: week.iso_week,
        protocol: week.protocol,
        visits_until: week.visits_until,
        farms_known: week.farms_known,
    }
}

fn decision<'a>(
    week: &Week,
    place: &Place,
    own: Vec<&'a FieldWeek>,
    published: Option<&Published>,
    rule: &Rule,
) -> Decision<'a> {
    let heading = heading_of(week, place);
    let made = public_row(&heading, &own, rule);
    let entry = |row: PublicRow| Entry {
        row,
        members: own.iter().map(|field| Member::of(field)).collect(),
    };
    let Some(published) = published else {
        return match made {
            Ok((row, _)) => Decision::Enter(entry(row)),
            Err(why) => Decision::Pool(own, why),
        };
    };
    let first = &published.entry;
    let known: BTreeMap<Id, &Member> = first
        .members
        .iter()
        .map(|member| (member.field, member))
        .collect();
    if let (1, Ok((row, _))) = (first.row.edition, made)
        && let Some(changed) = changed_by_a_group(week, &known, &own, rule)
        && follows(&first.row, &row, changed)
    {
        return Decision::Enter(entry(PublicRow {
            edition: 2,
            // A cell that came with one late field would place that field.
            cells: first.row.cells.clone(),
            ..row
        }));
    }
    let now: BTreeMap<Id, Id> = own
        .iter()
        .map(|field| (field.field, field.state()))
        .collect();
    let same = |member: &Member| now.get(&member.field) == Some(&member.state);
    let again = published.withdrawn && first.members.iter().all(same);
    let late = own
        .into_iter()
        .filter(|field| !known.contains_key(&field.field));
    Decision::Keep {
        late: late.collect(),
        again: again.then(|| first.clone()),
    }
}

/// How many fields in the stage window were added, changed or taken away, if these, and those outside it, are each a
/// group that could be shown by itself, or none; `None` if nothing changed or it may not be shown.
fn changed_by_a_group(
    week: &Week,
    before: &BTreeMap<Id, &Member>,
    now: &[&FieldWeek],
    rule: &Rule,
) -> Option<u32> {
    let now: BTreeMap<Id, Member> = now
        .iter()
        .map(|field| (field.field, Member::of(field)))
        .collect();
    let fields: BTreeSet<Id> = before.keys().chain(now.keys()).copied().collect();
    let (mut inside, mut outside) = (Vec::new(), Vec::new());
    for field in fields {
        let states = [before.get(&field).copied(), now.get(&field)];
        if states[0].map(|member| member.state) == states[1].map(|member| member.state) {
            continue;
        }
        let farm = states
            .iter()
            .flatten()
            .last()
            .and_then(|member| member.farm);
        if states.iter().flatten().any(|member| member.in_window) {
            inside.push(farm);
        }
        if states.iter().flatten().any(|member| !member.in_window) {
            outside.push(farm);
        }
    }
    if inside.is_empty() && outside.is_empty() {
        return None;
    }
    let may_be_shown = |farms: &[Option<Id>]| {
        farms.is_empty() || judge(farms.iter().copied(), week.farms_known, rule).is_ok()
    };
    (may_be_shown(&inside) && may_be_shown(&outside)).then_some(inside.len() as u32)
}

/// Whether two intervals of a row may follow each other: under `strict` the two together must not tell that all of
/// the fields that changed are at threshold, or none of them.
fn follows(first: &PublicRow, second: &PublicRow, changed: u32) -> bool {
    if second.level != Level::Strict || changed == 0 {
        return true;
    }
    let most = changed.div_ceil(2).saturating_sub(1);
    second.at_threshold[0] <= first.at_threshold[1] + most
        && second.at_threshold[1] + most >= first.at_threshold[0]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::disclosure::field::GridPoint;

    /// A field of a farm, in a county, with a pressure.
    fn field(name: &str, farm: &str, county: &str, pressure: f64) -> FieldWeek {
        FieldWeek {
            field: Id::of(name),
            farm: Id::of_farm(farm),
            county_id: county.to_owned(),
            in_window: true,
            crop_stage: "R3".to_owned(),
            stage_place: 30,
            pressure,
            economics_assumed: false,
            treatment_days: None,
            window_basis: None,
            cell: GridPoint {
                cell: "1.1".to_owned(),
                lon: 0.0,
                lat: 0.0,
                grid_km: 10.0,
            },
        }
    }

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
        // One corrected field: the row is wrong, and its correction would tell of that field.
        let mut corrected = first.clone();
        corrected[0].pressure = 2.0;
        let made = rows(&corrected, &published, &Rule::LEAST);
        assert!(made.entering.is_empty() && made.shown.is_empty());
        // Three corrected fields of three farms may be told of.
        for field in &mut corrected[..3] {
            field.pressure = 2.0;
        }
        let made = rows(&corrected, &published, &Rule::LEAST);
        assert_eq!(place_names(&made.shown), [("a".to_owned(), 2, 6)]);
        assert_eq!(made.shown[0].at_threshold, [3, 3]);
    }

    #[test]
    fn strict_intervals_of_two_editions_do_not_tell_of_all_late_fields() {
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
