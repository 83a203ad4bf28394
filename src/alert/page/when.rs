//! The sentence about when treating would be due, from the weeks of public rows.

use jiff::civil::Date;

use super::row_words::treatment_days;
use crate::shared::shown_days::days_in_words;
use disclosure::public_row::PublicRow;

/// When the fields shown are expected at the treatment stage, and what the days are based on; nothing where no row has such
/// weeks, or the protocol names no stage. `level` is that of one
/// field, as `its own economic injury level`.
pub(crate) fn when_due(
    rows: &[PublicRow],
    treatment_stage: Option<&str>,
    level: &str,
) -> Option<String> {
    let stage = treatment_stage?;
    let opens = rows
        .iter()
        .filter_map(treatment_days)
        .map(|days| days[0])
        .min()?;
    let closes = rows
        .iter()
        .filter_map(treatment_days)
        .map(|days| days[1])
        .max()?;
    let bases = || rows.iter().filter_map(|row| row.window_basis.as_deref());
    let by_weather = bases().all(|basis| basis == "weather");
    let by_days = bases().all(|basis| basis == "days");
    let basis = if by_weather {
        "from degree-days so far, and a wide outlook for the days to come"
    } else if by_days {
        "from the protocol's day ranges (no temperature data)"
    } else {
        "from degree-days where there are temperatures, elsewhere from the protocol's day ranges"
    };
    Some(format!(
        "Fields are expected at {stage} in the weeks of {}, {basis}. Consider treatment only if that field's own count is \
         at or above {}; the field's own stage decides the day.",
        days_in_words(opens, closes),
        level
    ))
}

/// A day as a number that grows from day to day.
pub(super) fn day_number(day: Date) -> f64 {
    f64::from(day.year()) * 366.0 + f64::from(day.day_of_year())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::alert::page::row_words::tests::row;

    fn due(weeks: Option<[&str; 2]>, basis: Option<&str>) -> PublicRow {
        PublicRow {
            treatment_weeks: weeks.map(|weeks| weeks.map(str::to_owned)),
            window_basis: basis.map(str::to_owned),
            ..row("001", 6, [1, 1])
        }
    }

    #[test]
    fn the_weeks_span_the_rows_and_their_basis_is_said() {
        let rows = [
            due(Some(["2026-W30", "2026-W31"]), Some("days")),
            due(Some(["2026-W31", "2026-W32"]), Some("days")),
            due(None, None),
        ];
        let said = when_due(&rows, Some("R5.1"), "the threshold").expect("weeks");
        assert!(
            said.contains(
                "at R5.1 in the weeks of July 20 – August 9, 2026, from the protocol's day ranges"
            ),
            "{said}"
        );
        let mixed = [
            due(Some(["2026-W30", "2026-W31"]), Some("days")),
            due(Some(["2026-W31", "2026-W32"]), Some("weather")),
        ];
        let said = when_due(&mixed, Some("R5.1"), "the threshold").expect("weeks");
        assert!(
            said.contains("where there are temperatures, elsewhere"),
            "{said}"
        );
        let said = when_due(&mixed[1..], Some("R5.1"), "the threshold").expect("weeks");
        assert!(said.contains("from degree-days so far"), "{said}");
        assert_eq!(when_due(&rows, None, "the threshold"), None);
        assert_eq!(when_due(&rows[2..], Some("R5.1"), "the threshold"), None);
    }
}
