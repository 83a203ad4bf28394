//! The sentences about when treating would be due, and about fields too close to call. The days and the numbers
//! the roll-up says.

use jiff::civil::Date;

use super::shown_days::days_in_words;
use super::shown_numbers::count_of;
use crate::rollup::county_week::{CountyWeek, Figures};

/// When the fields shown are expected at the treatment stage, and what the days rest on; nothing where no field
/// has such days, or the protocol names no stage.
pub fn when_due(rows: &[CountyWeek], treatment_stage: Option<&str>) -> Option<String> {
    let stage = treatment_stage?;
    let opens = rows.iter().filter_map(|row| row.window_opens).min()?;
    let closes = rows.iter().filter_map(|row| row.window_closes).max()?;
    let bases = || rows.iter().filter_map(|row| row.window_basis.as_deref());
    let by_weather = bases().all(|basis| basis == "weather");
    let by_days = bases().all(|basis| basis == "days");
    let basis = if by_weather {
        "by the heat of the days so far, and a wide outlook for those to come"
    } else if by_days {
        "by the day ranges of the protocol: no weather was given"
    } else {
        "by the heat of the days so far where there is weather, elsewhere by the day ranges of the protocol"
    };
    Some(format!(
        "The fields visited are expected at {stage} {}, {basis}. Only a field at its own threshold is to be treated \
         then, and its own stage decides the day.",
        from_to(opens, closes)
    ))
}

/// The days of one county in few characters, the year being that of the page: `9–26 Aug`; nothing where it has
/// none.
pub fn days_of_county(row: &CountyWeek) -> Option<String> {
    let (opens, closes) = (row.window_opens?, row.window_closes?);
    let end = format!("{}\u{a0}{}", closes.day(), short_month(closes));
    Some(match opens.month() == closes.month() {
        true => format!("{}–{end}", opens.day()),
        false => format!("{}\u{a0}{} – {end}", opens.day(), short_month(opens)),
    })
}

/// A day as a number that grows from day to day.
pub(super) fn day_number(day: Date) -> f64 {
    f64::from(day.year()) * 366.0 + f64::from(day.day_of_year())
}

fn short_month(date: Date) -> String {
    date.strftime("%b").to_string()
}

fn from_to(opens: Date, closes: Date) -> String {
    match opens == closes {
        true => format!("on {}", days_in_words(opens, closes)),
        false => format!("within {}", days_in_words(opens, closes)),
    }
}

/// How many of the fields shown are so near their threshold that their own interval covers it; nothing where none
/// is.
pub fn too_close_to_call(rows: &[CountyWeek]) -> Option<String> {
    let sum = |of: fn(&Figures) -> i64| -> i64 {
        let figures = rows.iter().filter_map(CountyWeek::figures);
        figures.map(|figures| of(&figures)).sum()
    };
    let near = sum(|figures| figures.fields_near_threshold);
    let visited = sum(|figures| figures.fields_visited);
    let visited = count_of(
        usize::try_from(visited).unwrap_or_default(),
        "field",
        "fields",
    );
    (near > 0).then(|| {
        format!("{near} of {visited}: the 95\u{a0}% interval of the mean covers the threshold")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(opens: Option<(i8, i8)>, closes: Option<(i8, i8)>, basis: Option<&str>) -> CountyWeek {
        let day = |(month, day)| Date::constant(2026, month, day);
        CountyWeek {
            county_id: "001".to_owned(),
            county_name: "Alder".to_owned(),
            season: 2026,
            iso_week: "2026-W30".to_owned(),
            protocol: "bsm-eggs".to_owned(),
            fields_visited: Some(4),
            fields_at_threshold: Some(1),
            fields_near_threshold: Some(2),
            share_at_threshold: Some(0.25),
            share_low: Some(0.05),
            share_high: Some(0.7),
            share_smoothed: None,
            mean_pressure: Some(0.5),
            median_pressure: Some(0.5),
            p90_pressure: Some(1.0),
            max_pressure: Some(1.2),
            area_share_at_threshold: Some(0.2),
            fields_outside_stage: Some(0),
            fields_with_assumed_economics: Some(0),
            window_opens: opens.map(day),
            window_closes: closes.map(day),
            window_basis: basis.map(str::to_owned),
            suppressed: false,
        }
    }

    #[test]
    fn the_days_span_the_counties_and_their_basis_is_said() {
        let rows = [
            row(Some((7, 25)), Some((8, 3)), Some("days")),
            row(Some((7, 28)), Some((8, 12)), Some("days")),
            row(None, None, None),
        ];
        let said = when_due(&rows, Some("R5.1")).expect("days");
        assert!(
            said.contains("at R5.1 within 25 July – 12 August 2026, by the day ranges"),
            "{said}"
        );
        assert!(said.contains("no weather was given"), "{said}");
        let mixed = [
            row(Some((7, 25)), Some((8, 3)), Some("days")),
            row(Some((7, 28)), Some((8, 12)), Some("weather")),
        ];
        let said = when_due(&mixed, Some("R5.1")).expect("days");
        assert!(said.contains("where there is weather, elsewhere"), "{said}");
        let said = when_due(&mixed[1..], Some("R5.1")).expect("days");
        assert!(
            said.contains("by the heat of the days so far, and"),
            "{said}"
        );
        assert_eq!(when_due(&rows, None), None);
        assert_eq!(when_due(&rows[2..], Some("R5.1")), None);
        assert_eq!(
            days_of_county(&rows[0]).as_deref(),
            Some("25\u{a0}Jul – 3\u{a0}Aug")
        );
        assert_eq!(days_of_county(&rows[2]), None);
    }

    #[test]
    fn fields_near_their_threshold_are_counted_and_none_is_not_worth_a_word() {
        let near = row(None, None, None);
        let said = too_close_to_call(&[near.clone(), near.clone()]).expect("four");
        assert!(said.starts_with("4 of 8 fields: "), "{said}");
        let none = CountyWeek {
            fields_near_threshold: Some(0),
            ..near
        };
        assert_eq!(too_close_to_call(&[none]), None);
    }
}
