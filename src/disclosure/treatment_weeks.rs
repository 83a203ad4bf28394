//! The weeks in which a row's fields are expected at the treatment stage.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;

use super::field::{FieldWeek, Id};
use super::public_row::Heading;
use super::rule::{FIELDS_FOR_MEDIAN, Level};
use scouting::visit::week::IsoWeek;

/// First and last week in which fields of two farms are expected; under `strict` the week of the median field.
pub(super) fn treatment_weeks(
    fields: &[&FieldWeek],
    heading: &Heading,
    level: Level,
) -> Option<[String; 2]> {
    let weeks = heading.weeks;
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
        let week = weeks.of(*middle).to_string();
        return (middles.len() >= FIELDS_FOR_MEDIAN as usize).then(|| [week.clone(), week]);
    }
    let mut farms: BTreeMap<IsoWeek, BTreeSet<Id>> = BTreeMap::new();
    for field in fields {
        // Without any farm in the season each field is one; a field without a farm among others with one counts for none.
        let farm = match heading.farms_known {
            true => field.farm,
            false => Some(field.field),
        };
        let (Some([opens, closes]), Some(farm)) = (field.treatment_days, farm) else {
            continue;
        };
        let mut day = opens;
        while day <= closes {
            let week = weeks.of(day);
            farms.entry(week).or_default().insert(farm);
            day = weeks
                .last_day(week)
                .saturating_add(jiff::Span::new().days(1));
        }
    }
    let mut shown = farms.iter().filter(|(_, farms)| farms.len() >= 2);
    let first = shown.next()?.0;
    let last = shown.next_back().map_or(first, |(week, _)| week);
    Some([first.to_string(), last.to_string()])
}

/// What the expected days of these fields are based on: `weather`, `days` or `both`.
pub(super) fn common_basis(fields: &[&FieldWeek]) -> Option<String> {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::invented::{fields, row_of};

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
        let row = row_of(&some, Level::Survey);
        let one = "2026-W33".to_owned();
        assert_eq!(row.treatment_weeks, Some([one.clone(), one.clone()]));
        some[2].treatment_days = days(5, 12);
        let row = row_of(&some, Level::Survey);
        assert_eq!(row.treatment_weeks, Some(["2026-W32".to_owned(), one]));
    }
}
