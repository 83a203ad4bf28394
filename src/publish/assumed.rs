//! The sentence about thresholds that rest on assumed economics. How many there are the roll-up says.

use crate::rollup::county_week::{CountyWeek, Figures};

/// How many of the fields shown rest on economics that the workspace assumed; nothing where none does.
/// They are never mixed with the others without a word.
pub fn what_is_assumed(rows: &[CountyWeek]) -> Option<String> {
    let sum = |of: fn(&Figures) -> i64| -> i64 {
        let figures = rows.iter().filter_map(CountyWeek::figures);
        figures.map(|figures| of(&figures)).sum()
    };
    let visited = sum(|figures| figures.fields_visited);
    let start = match sum(|figures| figures.fields_with_assumed_economics) {
        0 => return None,
        1 if visited == 1 => "The record of this field lacks".to_owned(),
        1 => "The record of 1 of these fields lacks".to_owned(),
        all if all == visited => "The records of all these fields lack".to_owned(),
        some => format!("The records of {some} of these fields lack"),
    };
    Some(format!(
        "{start} a treatment cost, a market value or a plant population; there the threshold rests on what \
         the publisher assumed for the crop type."
    ))
}
