//! A public row: all that is said in public of the fields of one place, week and protocol.
//!
//! [`public_row`] is the only function that makes one from fields. It never gives a quantile, a highest field, an
//! area or a sum: each of these, with others, gave single fields back. Nor does it say on how many fields no call can be
//! made: who knows all fields but one learned how close that one is to its threshold (8 of 727 fields in rows of 5 to 9
//! under `strict`, and none without that count: tests/reference/disclosure_knowledge.py). What it gives is
//!
//! - **fields at threshold**, of three or four fields "none" or "one or more"; of more a number, where all and all but
//!   one look the same, so that nobody learns that every other field is at threshold from a count and his own field;
//!   under `strict` an interval;
//! - **the class of the median**, from five fields;
//! - **the mean to the nearest 0.2**, from ten fields of five farms, none with more than a third;
//! - **the weeks** in which fields of two farms are expected at the treatment stage, from five fields;
//! - **crop stages** by groups of enough fields, and the cells of the grid that contain enough fields.

use std::collections::BTreeMap;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::cell::{Withheld, judge_fields};
use super::field::{FieldWeek, GridPoint};
use super::median_class::MedianClass;
use super::place::Place;
use super::rule::{FIELDS_FOR_MEDIAN, Level, Rule};
use super::stage_groups::{StageFields, stage_groups};
use super::treatment_weeks::{common_basis, treatment_weeks};
use scouting::visit::week::{WeekStart, Weeks};

/// All that is said in public of the fields of a place in a week under one protocol.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PublicRow {
    /// Where.
    pub place: Place,
    /// The ISO week-year.
    pub season: i32,
    /// Name of the week, as `2026-W30`.
    pub iso_week: String,
    /// The day on which the week starts; Monday in rows that do not say.
    #[serde(default, skip_serializing_if = "WeekStart::is_monday")]
    pub week_starts: WeekStart,
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
    /// Fields whose threshold is based on assumed economics; `None` where that would tell of one or two.
    pub fields_with_assumed_economics: Option<u32>,
    /// Fields visited at another crop stage; `None` where they are too few to show.
    pub fields_outside_stage: Option<u32>,
    /// First and last week in which fields of two farms are expected at the treatment stage.
    pub treatment_weeks: Option<[String; 2]>,
    /// What these weeks are based on: `weather`, `days` or `both`.
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
    /// Name of the week, as `2026-W30`.
    pub iso_week: &'a str,
    /// The days of each week.
    pub weeks: &'a Weeks,
    /// The protocol's id.
    pub protocol: &'a str,
    /// Day of the newest submission.
    pub visits_until: Date,
    /// Whether any visit of the season names a farm.
    pub farms_known: bool,
}

/// The step of a mean. Fixed: digits that depend on the size of a mean reveal much of a small one.
const MEAN_STEP: f64 = 0.2;

impl PublicRow {
    /// The days of the row's own week and of those near it.
    pub fn weeks(&self) -> Weeks {
        Weeks::new(self.week_starts, [])
    }

    /// Lower and upper end of the 95% interval of the share at threshold: the low of the least, the high of the most.
    pub fn share_interval(&self) -> Option<[f64; 2]> {
        use stats::sampling::share_interval::wilson;
        let [least, most] = self.at_threshold;
        let low = wilson(least, self.fields_visited)?[0];
        let high = wilson(most, self.fields_visited)?[1];
        Some([low, high])
    }

    /// The probability that more than a third of the place's fields are at threshold, if its fields were a random
    /// sample: by the least and by the most of them at threshold. It is made of what the row says and of nothing else.
    pub fn over_third(&self) -> Option<[f64; 2]> {
        use stats::sampling::share_over_line::probability_over_third;
        let [least, most] = self.at_threshold;
        let low = probability_over_third(least, self.fields_visited)?;
        Some([low, probability_over_third(most, self.fields_visited)?])
    }

    /// The middle of the least and the most share at threshold, 0 to 1, for what needs one number; `None` without
    /// fields in the window.
    pub fn share_middle(&self) -> Option<f64> {
        let [least, most] = self.at_threshold.map(f64::from);
        (self.fields_visited > 0).then(|| (least + most) / 2.0 / f64::from(self.fields_visited))
    }
}

/// The public row of these fields, all of one place, week and protocol.
///
/// # Errors
/// Why the fields are withheld.
pub fn public_row(
    heading: &Heading,
    fields: &[&FieldWeek],
    rule: &Rule,
) -> Result<PublicRow, Withheld> {
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
    Ok(PublicRow {
        place: heading.place.clone(),
        season: heading.season,
        iso_week: heading.iso_week.to_owned(),
        week_starts: heading.weeks.start_in(heading.season),
        protocol: heading.protocol.to_owned(),
        edition: 1,
        visits_until: heading.visits_until,
        level: rule.level,
        fields_visited: visited,
        at_threshold: at_threshold_interval(at, visited, large, rule.level),
        median: (visited >= FIELDS_FOR_MEDIAN).then(|| MedianClass::of(&inside, large, rule.level)),
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
            .then(|| treatment_weeks(&inside, heading, rule.level))
            .flatten(),
        window_basis: (visited >= FIELDS_FOR_MEDIAN)
            .then(|| common_basis(&inside))
            .flatten(),
        stages,
        cells: shown_cells(&counted, heading.farms_known, rule),
    })
}

/// A count, unless it or what is left of all fields is one or two.
fn no_single_field(some: u32, all: u32) -> Option<u32> {
    let few = |count: u32| (1..=2).contains(&count);
    (!few(some) && !few(all - some)).then_some(some)
}

/// Least and most fields at threshold that a row gives for `at` of `fields`.
fn at_threshold_interval(at: u32, fields: u32, large: bool, level: Level) -> [u32; 2] {
    if at == 0 {
        return [0, 0];
    }
    if fields < FIELDS_FOR_MEDIAN {
        return [1, fields];
    }
    match level {
        // All, and all but one, look the same: who has the one field below must not learn that he is the only one.
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

/// The mean to the nearest step; summed in the order of size, so that it is the same in any order of the fields.
fn mean_in_steps(fields: &[&FieldWeek]) -> f64 {
    let mut pressures: Vec<f64> = fields.iter().map(|field| field.pressure).collect();
    pressures.sort_by(f64::total_cmp);
    let mean = pressures.iter().sum::<f64>() / pressures.len() as f64;
    // Five steps make one: dividing gives the decimal that is printed.
    (mean / MEAN_STEP).round() / (1.0 / MEAN_STEP).round()
}

fn shown_cells(fields: &[&FieldWeek], farms_known: bool, rule: &Rule) -> Vec<GridPoint> {
    let mut by_cell: BTreeMap<&str, (&GridPoint, Vec<&FieldWeek>)> = BTreeMap::new();
    for field in fields {
        if let Some(cell) = &field.cell {
            let (_, fields) = by_cell.entry(&cell.cell).or_insert((cell, Vec::new()));
            fields.push(field);
        }
    }
    by_cell
        .into_values()
        .filter(|(_, fields)| judge_fields(fields.iter().copied(), farms_known, rule).is_ok())
        .map(|(cell, _)| cell.clone())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::invented::{fields, row_of};

    /// So many fields, the last of them at threshold.
    fn with_at_threshold(fields_all: usize, at: usize) -> Vec<FieldWeek> {
        let pressures: Vec<f64> = (0..fields_all)
            .map(|place| if place < fields_all - at { 0.5 } else { 1.0 })
            .collect();
        fields(&pressures)
    }

    #[test]
    fn counts_of_the_level_survey() {
        for (all, at, expected) in [
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
            let row = row_of(&with_at_threshold(all, at), Level::Survey);
            assert_eq!(row.at_threshold, expected, "{at} of {all}");
        }
    }

    #[test]
    fn counts_of_the_level_strict() {
        for (all, at, expected) in [
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
            let row = row_of(&with_at_threshold(all, at), Level::Strict);
            assert_eq!(row.at_threshold, expected, "{at} of {all}");
        }
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
        let row = row_of(&some, Level::Survey);
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
        let row = row_of(&some, Level::Survey);
        assert_eq!(row.fields_with_assumed_economics, None);
    }
}
