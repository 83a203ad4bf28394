//! A public row: all that is said in public of the fields of one place, week and protocol.
//!
//! [`public_row`] is the only function that makes one from fields. It never gives a quantile, a highest field, an
//! area or a sum: each of these, with others, gave single fields back. Nor does it say on how many fields no call can be
//! made: who knows all fields but one learnt how close that one is to its threshold (8 of 727 fields in rows of 5 to 9
//! under `strict`, and none without that count: tests/reference/disclosure_knowledge.py). What it gives is
//!
//! - **fields at threshold**, of three or four fields "none" or "one or more"; of more a number, where all and all but
//!   one look the same, so that nobody learns that every other field is at threshold from a count and his own field;
//!   under `strict` an interval;
//! - **the class of the median**, from five fields;
//! - **the mean to the nearest 0.2**, from ten fields of five farms, none with more than a third;
//! - **the weeks** in which fields of two farms are expected at the treatment stage, from five fields;
//! - **crop stages** by groups of enough fields, and the cells of the grid in which enough fields lie.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::cell::{Cell, Withheld, judge_fields};
use super::field::{FieldWeek, GridPoint, Id, ROUNDING};
use super::rule::{Level, Rule};
use crate::visit::week::IsoWeek;

/// Where the fields of a row lie. Rows of one week and protocol have no field in common.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Place {
    /// A county, by its id.
    County(String),
    /// Elsewhere in a district: fields of its counties that are in no row of a county.
    District(String),
    /// Elsewhere in the region: fields that are in no other row.
    Region,
}

impl Place {
    /// The county's id, if it is one.
    pub fn county(&self) -> Option<&str> {
        match self {
            Place::County(id) => Some(id),
            Place::District(_) | Place::Region => None,
        }
    }

    /// The name of a place that is no county; the county's id otherwise.
    pub fn in_words(&self) -> String {
        match self {
            Place::County(id) => id.clone(),
            Place::District(name) => format!("elsewhere in {name}"),
            Place::Region => "elsewhere in the region".to_owned(),
        }
    }
}

/// Class of a median pressure, half-open.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct MedianClass {
    /// Lower bound, included; 1 = at threshold.
    pub from: f64,
    /// Upper bound, not included; `None` for the highest class.
    pub below: Option<f64>,
    /// Whether nothing was found in any field: a class of its own.
    pub nothing_found: bool,
}

impl MedianClass {
    /// The class of fields in which nothing was found.
    pub const NOTHING_FOUND: MedianClass = MedianClass {
        from: 0.0,
        below: None,
        nothing_found: true,
    };

    /// Its name in the tables.
    pub fn word(&self) -> String {
        match (self.nothing_found, self.below) {
            (true, _) => "nothing-found".to_owned(),
            (false, Some(below)) => format!("{}-{below}", self.from),
            (false, None) => format!("{}+", self.from),
        }
    }

    /// One number for the class, where classes are put in order or averaged: its middle, of the highest class its
    /// lower bound.
    pub fn middle(&self) -> f64 {
        match self.below {
            Some(below) => (self.from + below) / 2.0,
            None => self.from,
        }
    }
}

/// Fields in a crop stage, or in neighboring ones that are too few to tell apart.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct StageFields {
    /// The stage, or the first and the last: `R3`, `R2–R3`.
    pub crop_stage: String,
    /// Place of the first stage in the order of growth.
    pub place: i32,
    /// Its fields.
    pub fields: u32,
    /// Whether the stages lie in the protocol's window.
    pub in_window: bool,
}

/// All that is said in public of the fields of a place in a week under one protocol.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PublicRow {
    /// Where.
    pub place: Place,
    /// The ISO week-year.
    pub season: i32,
    /// ISO 8601 week, as `2026-W30`.
    pub iso_week: String,
    /// The protocol's id.
    pub protocol: String,
    /// 1, or 2 for the one update that a row may have.
    pub edition: u8,
    /// Day of the newest submission that the row has seen.
    pub visits_until: Date,
    /// How much the row says.
    pub level: Level,
    /// Fields with a visit in the stage window; 0 where all fields are outside it.
    pub fields_visited: u32,
    /// Least and most fields of these at threshold.
    pub at_threshold: [u32; 2],
    /// Class of the median of their pressures; `None` for fewer than five.
    pub median: Option<MedianClass>,
    /// Mean of their pressures to the nearest 0.2; `None` but for large groups.
    pub mean_pressure: Option<f64>,
    /// Fields whose threshold rests on assumed economics; `None` where that would tell of one or two.
    pub fields_with_assumed_economics: Option<u32>,
    /// Fields visited at another crop stage; `None` where they are too few to show.
    pub fields_outside_stage: Option<u32>,
    /// First and last ISO week in which fields of two farms are expected at the treatment stage.
    pub treatment_weeks: Option<[String; 2]>,
    /// What these weeks rest on: `weather`, `days` or `both`.
    pub window_basis: Option<String>,
    /// Crop stages, those in the window first.
    pub stages: Vec<StageFields>,
    /// Cells of the grid with enough of the row's fields.
    pub cells: Vec<GridPoint>,
}

/// What the fields of a row have in common.
#[derive(Debug, Clone)]
pub struct Heading<'a> {
    /// Where.
    pub place: &'a Place,
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
}

/// From so many fields on the class of the median, and the weeks of treatment, are shown.
const FIELDS_FOR_MEDIAN: u32 = 5;
/// The step of a mean. Fixed: digits that go by the size of a mean tell much of a small one.
const MEAN_STEP: f64 = 0.2;

impl PublicRow {
    /// Lower and upper end of the 95 % interval of the share at threshold: the low of the least, the high of the most.
    pub fn share_interval(&self) -> Option<[f64; 2]> {
        use crate::statistics::share_interval::wilson;
        let [least, most] = self.at_threshold;
        let low = wilson(least, self.fields_visited)?[0];
        let high = wilson(most, self.fields_visited)?[1];
        Some([low, high])
    }

    /// The middle of the least and the most share at threshold, 0 to 1, for what needs one number; `None` without
    /// fields in the window.
    pub fn share_middle(&self) -> Option<f64> {
        let [least, most] = self.at_threshold.map(f64::from);
        (self.fields_visited > 0).then(|| (least + most) / 2.0 / f64::from(self.fields_visited))
    }

    /// Whether a rule that is stricter than the one it was made by would show it as well, as far as its own counts say.
    pub fn satisfies(&self, rule: &Rule, farms_known: bool) -> bool {
        let least = match farms_known {
            true => rule.min_fields,
            false => rule.min_fields_without_farms,
        };
        let fields = match self.fields_visited {
            0 => self.fields_outside_stage.unwrap_or_default(),
            fields => fields,
        };
        fields >= least && self.level >= rule.level
    }
}

/// The public row of these fields, all of one place, week and protocol, and the group that it rests on.
///
/// # Errors
/// Why the fields are withheld.
pub fn public_row(
    heading: &Heading,
    fields: &[&FieldWeek],
    rule: &Rule,
) -> Result<(PublicRow, Cell), Withheld> {
    let (inside, outside): (Vec<&FieldWeek>, Vec<&FieldWeek>) =
        fields.iter().copied().partition(|field| field.in_window);
    let judged =
        |fields: &[&FieldWeek]| judge_fields(fields.iter().copied(), heading.farms_known, rule);
    let shown_outside = judged(&outside);
    let cell = match inside.is_empty() {
        true => shown_outside?,
        false => judged(&inside)?,
    };
    let outside_count = match &shown_outside {
        Ok(cell) => Some(cell.fields),
        Err(_) if outside.is_empty() => Some(0),
        Err(_) => None,
    };
    let visited = inside.len() as u32;
    let counted: Vec<&FieldWeek> = match shown_outside {
        Ok(_) => inside.iter().chain(&outside).copied().collect(),
        Err(_) => inside.clone(),
    };
    let mut stages = stage_groups(&inside, heading.farms_known, rule);
    if shown_outside.is_ok() {
        stages.extend(stage_groups(&outside, heading.farms_known, rule));
    }
    let at = inside.iter().filter(|field| field.at_threshold()).count() as u32;
    let large = !inside.is_empty() && cell.is_large();
    let row = PublicRow {
        place: heading.place.clone(),
        season: heading.season,
        iso_week: heading.iso_week.to_owned(),
        protocol: heading.protocol.to_owned(),
        edition: 1,
        visits_until: heading.visits_until,
        level: rule.level,
        fields_visited: visited,
        at_threshold: at_threshold_interval(at, visited, large, rule.level),
        median: (visited >= FIELDS_FOR_MEDIAN).then(|| median_class(&inside, large, rule.level)),
        mean_pressure: large.then(|| mean_in_steps(&inside)),
        fields_with_assumed_economics: no_single_field(
            inside
                .iter()
                .filter(|field| field.economics_assumed)
                .count() as u32,
            visited,
        ),
        fields_outside_stage: outside_count,
        treatment_weeks: (visited >= FIELDS_FOR_MEDIAN)
            .then(|| treatment_weeks(&inside, heading.farms_known, rule.level))
            .flatten(),
        window_basis: (visited >= FIELDS_FOR_MEDIAN)
            .then(|| common_basis(&inside))
            .flatten(),
        stages,
        cells: shown_cells(&counted, heading.farms_known, rule),
    };
    Ok((row, cell))
}

/// A count, unless it or what is left of all fields is one or two.
fn no_single_field(some: u32, all: u32) -> Option<u32> {
    let few = |count: u32| (1..=2).contains(&count);
    (!few(some) && !few(all - some)).then_some(some)
}

/// Least and most fields at threshold that are told of `at` of `fields`.
fn at_threshold_interval(at: u32, fields: u32, large: bool, level: Level) -> [u32; 2] {
    if at == 0 {
        return [0, 0];
    }
    if fields < FIELDS_FOR_MEDIAN {
        return [1, fields];
    }
    match level {
        // All, and all but one, are told alike: who has the one field below must not learn that he is the only one.
        Level::Survey if at >= fields - 1 => [fields - 1, fields],
        Level::Survey => [at, at],
        Level::Strict => {
            let (third, half) = (fields.div_ceil(3), fields.div_ceil(2));
            match at {
                _ if at < third => [1, third - 1],
                _ if large && at < half => [third, half - 1],
                _ if large => [half, fields],
                _ => [third, fields],
            }
        }
    }
}

/// Lower bounds of the classes of the median.
fn class_bounds(large: bool, level: Level) -> &'static [f64] {
    match (level, large) {
        // No class is narrower than half of its lower bound near the threshold: one of 0.75 to 1 gave fields back.
        (Level::Survey, _) => &[0.0, 0.25, 0.5, 1.0, 1.5],
        (Level::Strict, true) => &[0.0, 0.25, 0.5, 1.0],
        (Level::Strict, false) => &[0.0, 0.5],
    }
}

fn median_class(fields: &[&FieldWeek], large: bool, level: Level) -> MedianClass {
    let mut pressures: Vec<f64> = fields.iter().map(|field| field.pressure).collect();
    pressures.sort_by(f64::total_cmp);
    if pressures.last().is_none_or(|highest| *highest == 0.0) {
        return MedianClass::NOTHING_FOUND;
    }
    let (lower, upper) = (
        pressures[(pressures.len() - 1) / 2],
        pressures[pressures.len() / 2],
    );
    let median = (lower + upper) / 2.0 + ROUNDING;
    let bounds = class_bounds(large, level);
    let place = bounds.iter().rposition(|bound| median >= *bound);
    let place = place.unwrap_or_default();
    MedianClass {
        from: bounds[place],
        below: bounds.get(place + 1).copied(),
        nothing_found: false,
    }
}

/// The mean to the nearest step; summed in the order of size, so that it is the same in any order of the fields.
fn mean_in_steps(fields: &[&FieldWeek]) -> f64 {
    let mut pressures: Vec<f64> = fields.iter().map(|field| field.pressure).collect();
    pressures.sort_by(f64::total_cmp);
    let mean = pressures.iter().sum::<f64>() / pressures.len() as f64;
    // Five steps make one: dividing gives the decimal that is printed.
    (mean / MEAN_STEP).round() / (1.0 / MEAN_STEP).round()
}

/// First and last week in which fields of two farms are expected; under `strict` the week of the median field.
fn treatment_weeks(fields: &[&FieldWeek], farms_known: bool, level: Level) -> Option<[String; 2]> {
    if level == Level::Strict {
        let mut middles: Vec<Date> = fields
            .iter()
            .filter_map(|field| field.treatment_days)
            .map(|[opens, closes]| {
                let half = opens.until(closes).map_or(0, |span| span.get_days()) / 2;
                opens.saturating_add(jiff::Span::new().days(half))
            })
            .collect();
        middles.sort_unstable();
        let middle = middles.get(middles.len().checked_sub(1)? / 2)?;
        let week = IsoWeek::of(*middle).to_string();
        return (middles.len() >= FIELDS_FOR_MEDIAN as usize).then(|| [week.clone(), week]);
    }
    let mut farms: BTreeMap<IsoWeek, BTreeSet<Id>> = BTreeMap::new();
    for field in fields {
        // Without any farm in the season each field is one; a field without a farm among others with one counts for none.
        let farm = match farms_known {
            true => field.farm,
            false => Some(field.field),
        };
        let (Some([opens, closes]), Some(farm)) = (field.treatment_days, farm) else {
            continue;
        };
        let mut day = IsoWeek::of(opens).monday();
        while day <= closes {
            farms.entry(IsoWeek::of(day)).or_default().insert(farm);
            day = day.saturating_add(jiff::Span::new().days(7));
        }
    }
    let mut weeks = farms.iter().filter(|(_, farms)| farms.len() >= 2);
    let first = weeks.next()?.0;
    let last = weeks.next_back().map_or(first, |(week, _)| week);
    Some([first.to_string(), last.to_string()])
}

fn common_basis(fields: &[&FieldWeek]) -> Option<String> {
    let bases: BTreeSet<&str> = fields
        .iter()
        .filter_map(|field| field.window_basis.as_deref())
        .collect();
    match bases.len() {
        0 => None,
        1 => bases.first().map(|basis| (*basis).to_owned()),
        _ => Some("both".to_owned()),
    }
}

/// Stages with their places, and their fields.
type StageGroup<'a> = (Vec<(i32, &'a str)>, Vec<&'a FieldWeek>);

/// Stages in the order of growth, each with enough fields; what has too few joins the next, the rest the last.
fn stage_groups(fields: &[&FieldWeek], farms_known: bool, rule: &Rule) -> Vec<StageFields> {
    let mut by_stage: BTreeMap<(i32, &str), Vec<&FieldWeek>> = BTreeMap::new();
    for field in fields {
        let stage = (field.stage_place, field.crop_stage.as_str());
        by_stage.entry(stage).or_default().push(field);
    }
    let enough = |fields: &[&FieldWeek]| {
        let least = match farms_known {
            true => rule.min_fields,
            false => rule.min_fields_without_farms,
        };
        let farms: BTreeSet<Id> = fields.iter().filter_map(|field| field.farm).collect();
        fields.len() as u32 >= least && (!farms_known || farms.len() as u32 >= rule.min_farms)
    };
    let mut groups: Vec<StageGroup> = Vec::new();
    let (mut stages, mut open) = (Vec::new(), Vec::new());
    for (stage, fields) in by_stage {
        stages.push(stage);
        open.extend(fields);
        if enough(&open) {
            groups.push((std::mem::take(&mut stages), std::mem::take(&mut open)));
        }
    }
    if let Some((last_stages, last)) = groups.last_mut() {
        last_stages.append(&mut stages);
        last.append(&mut open);
    }
    let group = |(stages, fields): StageGroup| {
        let (first, last) = (stages.first()?, stages.last()?);
        Some(StageFields {
            crop_stage: match first == last {
                true => first.1.to_owned(),
                false => format!("{}–{}", first.1, last.1),
            },
            place: first.0,
            fields: fields.len() as u32,
            in_window: fields.iter().all(|field| field.in_window),
        })
    };
    groups.into_iter().filter_map(group).collect()
}

fn shown_cells(fields: &[&FieldWeek], farms_known: bool, rule: &Rule) -> Vec<GridPoint> {
    let mut by_cell: BTreeMap<&str, Vec<&FieldWeek>> = BTreeMap::new();
    for field in fields {
        by_cell.entry(&field.cell.cell).or_default().push(field);
    }
    by_cell
        .into_values()
        .filter(|fields| judge_fields(fields.iter().copied(), farms_known, rule).is_ok())
        .map(|fields| fields[0].cell.clone())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLACE: Place = Place::Region;

    /// Fields with these pressures, each of a farm of its own.
    fn fields(pressures: &[f64]) -> Vec<FieldWeek> {
        let of = |(number, pressure): (usize, &f64)| FieldWeek {
            field: Id::of(&format!("field {number}")),
            farm: Id::of_farm(&format!("farm {number}")),
            county_id: "a".to_owned(),
            in_window: true,
            crop_stage: "R3".to_owned(),
            stage_place: 30,
            pressure: *pressure,
            economics_assumed: false,
            treatment_days: None,
            window_basis: None,
            cell: GridPoint {
                cell: "1.1".to_owned(),
                lon: 0.0,
                lat: 0.0,
                grid_km: 10.0,
            },
        };
        pressures.iter().enumerate().map(of).collect()
    }

    fn made(fields: &[FieldWeek], level: Level) -> PublicRow {
        let heading = Heading {
            place: &PLACE,
            season: 2026,
            iso_week: "2026-W30",
            protocol: "bsm-eggs",
            visits_until: Date::constant(2026, 7, 27),
            farms_known: true,
        };
        let rule = Rule {
            level,
            ..Rule::LEAST
        };
        let fields: Vec<&FieldWeek> = fields.iter().collect();
        public_row(&heading, &fields, &rule).expect("a row").0
    }

    /// So many fields, the last of them at threshold.
    fn with_at_threshold(fields_all: usize, at: usize) -> Vec<FieldWeek> {
        let pressures: Vec<f64> = (0..fields_all)
            .map(|place| if place < fields_all - at { 0.5 } else { 1.0 })
            .collect();
        fields(&pressures)
    }

    #[test]
    fn counts_of_the_level_survey() {
        for (all, at, told) in [
            (3, 0, [0, 0]),
            (3, 1, [1, 3]),
            (4, 4, [1, 4]),
            (5, 0, [0, 0]),
            (5, 3, [3, 3]),
            // All, and all but one, look the same.
            (5, 4, [4, 5]),
            (5, 5, [4, 5]),
            (12, 7, [7, 7]),
        ] {
            let row = made(&with_at_threshold(all, at), Level::Survey);
            assert_eq!(row.at_threshold, told, "{at} of {all}");
        }
    }

    #[test]
    fn counts_of_the_level_strict() {
        for (all, at, told) in [
            (4, 0, [0, 0]),
            (4, 2, [1, 4]),
            (6, 1, [1, 1]),
            (6, 2, [2, 6]),
            (9, 2, [1, 2]),
            (9, 3, [3, 9]),
            // From ten fields of five farms the upper interval is cut in half.
            (10, 3, [1, 3]),
            (10, 4, [4, 4]),
            (10, 5, [5, 10]),
        ] {
            let row = made(&with_at_threshold(all, at), Level::Strict);
            assert_eq!(row.at_threshold, told, "{at} of {all}");
        }
    }

    #[test]
    fn a_median_is_a_class_and_a_mean_a_step() {
        let class = |pressures: &[f64], level| made(&fields(pressures), level).median;
        assert_eq!(class(&[0.1, 0.2, 0.3, 0.4], Level::Survey), None);
        let five = [0.1, 0.2, 0.3, 0.4, 9.0];
        let found = class(&five, Level::Survey).expect("a class");
        assert_eq!((found.from, found.below), (0.25, Some(0.5)));
        assert_eq!(found.word(), "0.25-0.5");
        let found = class(&five, Level::Strict).expect("a class");
        assert_eq!(found.word(), "0-0.5");
        assert_eq!(
            class(&[0.0; 5], Level::Survey),
            Some(MedianClass::NOTHING_FOUND)
        );
        // A last digit below the bound is at it.
        let at = class(&[1.0 - 1e-15; 5], Level::Survey).expect("a class");
        assert_eq!(at.word(), "1-1.5");
        assert_eq!(made(&fields(&[0.5; 9]), Level::Survey).mean_pressure, None);
        let row = made(&fields(&[0.71; 10]), Level::Survey);
        assert_eq!(row.mean_pressure, Some(0.8));
        // Four of ten fields of one farm: a third is too much.
        let mut shared = fields(&[0.71; 10]);
        for field in &mut shared[..4] {
            field.farm = Id::of_farm("one");
        }
        assert_eq!(made(&shared, Level::Survey).mean_pressure, None);
    }

    #[test]
    fn nothing_tells_of_one_or_two_fields() {
        let mut some = fields(&[0.5; 8]);
        for field in &mut some[..3] {
            field.economics_assumed = true;
        }
        some[7].in_window = false;
        some[7].crop_stage = "R4".to_owned();
        some[7].stage_place = 40;
        let row = made(&some, Level::Survey);
        assert_eq!((row.fields_visited, row.fields_outside_stage), (7, None));
        assert_eq!(row.fields_with_assumed_economics, Some(3));
        // Its stage is that of the fields in the window alone.
        assert_eq!(row.stages.len(), 1);
        assert_eq!(
            (row.stages[0].fields, &*row.stages[0].crop_stage),
            (7, "R3")
        );
        for field in &mut some[..6] {
            field.economics_assumed = true;
        }
        // All but one are as telling as one.
        let row = made(&some, Level::Survey);
        assert_eq!(row.fields_with_assumed_economics, None);
    }

    #[test]
    fn a_stage_of_few_fields_joins_its_neighbor() {
        let mut some = fields(&[0.5; 7]);
        for (field, stage) in some
            .iter_mut()
            .zip(["R2", "R3", "R3", "R3", "R3", "R3", "R4"])
        {
            field.crop_stage = stage.to_owned();
            field.stage_place = i32::from(stage.as_bytes()[1]);
        }
        let stages = made(&some, Level::Survey).stages;
        let said: Vec<_> = stages
            .iter()
            .map(|group| (&*group.crop_stage, group.fields))
            .collect();
        assert_eq!(said, [("R2–R4", 7)]);
        some[1].crop_stage = "R2".to_owned();
        some[1].stage_place = i32::from(b'2');
        some[2] = FieldWeek {
            field: some[2].field,
            farm: some[2].farm,
            ..some[1].clone()
        };
        let stages = made(&some, Level::Survey).stages;
        let said: Vec<_> = stages
            .iter()
            .map(|group| (&*group.crop_stage, group.fields))
            .collect();
        assert_eq!(said, [("R2", 3), ("R3–R4", 4)]);
    }

    #[test]
    fn weeks_of_treatment_take_two_farms() {
        let mut some = fields(&[0.5; 6]);
        let days =
            |from: i8, to: i8| Some([Date::constant(2026, 8, from), Date::constant(2026, 8, to)]);
        for field in &mut some {
            field.treatment_days = days(10, 12);
        }
        some[0].treatment_days = days(3, 12);
        some[1].treatment_days = days(10, 30);
        let row = made(&some, Level::Survey);
        let one = "2026-W33".to_owned();
        assert_eq!(row.treatment_weeks, Some([one.clone(), one.clone()]));
        some[2].treatment_days = days(5, 12);
        let row = made(&some, Level::Survey);
        assert_eq!(row.treatment_weeks, Some(["2026-W32".to_owned(), one]));
    }
}
