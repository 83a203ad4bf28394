//! What a public row says, in words: fields at threshold, percent, class of the median, weeks of treatment.

use jiff::civil::Date;

use crate::shared::classes::bounds_in_words;
use crate::shared::count_words::CountWords;
use crate::shared::shown_numbers::{Form, display_number};
use disclosure::public_row::PublicRow;
use scouting::visit::week::IsoWeek;

/// Fields at threshold: `4 of 6`, `5 or more of 6`, `none of 4`, `1 or more of 4`, `1 to 2 of 7`.
pub(crate) fn fields_in_words(row: &PublicRow) -> String {
    counts_in_words(row.fields_visited, row.at_threshold)
}

/// The same of so many fields, of which at least and at most so many are at threshold.
pub(crate) fn counts_in_words(all: u32, at_threshold: [u32; 2]) -> String {
    match at_threshold {
        [_, 0] => format!("none of {all}"),
        [least, most] if least == most => format!("{least} of {all}"),
        [least, most] if most == all => format!("{least} or more of {all}"),
        [least, most] => format!("{least} to {most} of {all}"),
    }
}

/// The same in few characters, for a map: `4 of 6`, `5+ of 6`, `0 of 4`, `1–2 of 7`.
pub(crate) fn fields_in_short(row: &PublicRow) -> String {
    let all = row.fields_visited;
    match row.at_threshold {
        [_, 0] => format!("0 of {all}"),
        [least, most] if least == most => format!("{least} of {all}"),
        [least, most] if most == all => format!("{least}+ of {all}"),
        [least, most] => format!("{least}–{most} of {all}"),
    }
}

/// The same with its noun: `4 of 6 fields at threshold`.
pub(crate) fn fields_at_threshold_in_words(row: &PublicRow, words: CountWords) -> String {
    let noun = match row.fields_visited {
        1 => words.one(),
        _ => words.several(),
    };
    format!("{} {noun} {}", fields_in_words(row), words.at())
}

/// The 95% interval of the percent of fields at threshold, `between` its ends: `9–54%`; empty where no field is in the
/// window.
pub(crate) fn percent_in_words(row: &PublicRow, between: &str) -> String {
    row.share_interval()
        .map_or_else(String::new, |[low, high]| {
            let percent = |share| display_number(share, Form::Percent);
            format!("{}{between}{}%", percent(low), percent(high))
        })
}

/// The chance that more than a third of the fields are at threshold, if they were a random sample: `93%`, or `53–99%` where
/// the row gives the least and the most at threshold (`99% or more` up to nearly 100); empty where no field is in the window.
pub(crate) fn over_third_in_words(row: &PublicRow) -> String {
    row.over_third().map_or_else(String::new, |ends| {
        let [low, high] = ends.map(|chance| display_number(chance, Form::Percent));
        match high.as_str() {
            same if same == low => format!("{low}%"),
            ">99" => format!("{low}% or more"),
            high => format!("{low}–{high}%"),
        }
    })
}

/// The class of the median in words: `0.5 to under 1`, `under 0.25`, `3 or more`; `None` for fewer than five fields.
pub(crate) fn median_in_words(row: &PublicRow) -> Option<String> {
    let class = row.median?;
    Some(match class.below {
        _ if class.nothing_found => "nothing found".to_owned(),
        below => bounds_in_words(class.from, below),
    })
}

/// The same in few characters, for a cell of a table: `0.5–1`, `<0.25`, `3+`, `0`.
pub(crate) fn median_in_short(row: &PublicRow) -> Option<String> {
    let class = row.median?;
    Some(match class.below {
        _ if class.nothing_found => "0".to_owned(),
        Some(below) if class.from == 0.0 => format!("<{below}"),
        Some(below) => format!("{}–{below}", class.from),
        None => format!("{}+", class.from),
    })
}

/// The days of the weeks of treatment: `Aug 3 – Aug 16`; `None` where they are not shown.
pub(crate) fn treatment_in_words(row: &PublicRow) -> Option<String> {
    let [first, last] = treatment_days(row)?;
    Some(format!("{}\u{a0}–\u{a0}{}", day(first), day(last)))
}

/// The first day of the first and the last day of the last of these weeks.
pub(crate) fn treatment_days(row: &PublicRow) -> Option<[Date; 2]> {
    let [first, last] = row.treatment_weeks.as_ref()?;
    let [first, last]: [IsoWeek; 2] = [first.parse().ok()?, last.parse().ok()?];
    let weeks = row.weeks();
    Some([weeks.first_day(first), weeks.last_day(last)])
}

/// A day in few characters: `Aug 3`.
fn day(date: Date) -> String {
    date.strftime("%b\u{a0}%-d").to_string()
}

/// `visits through August 5`, where the row has not seen the newest submission of the page.
pub(crate) fn visits_until_in_words(row: &PublicRow, newest: Option<Date>) -> Option<String> {
    let older = newest.is_some_and(|newest| row.visits_until < newest);
    older.then(|| {
        format!(
            "visits through {}",
            row.visits_until.strftime("%B\u{a0}%-d")
        )
    })
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use disclosure::median_class::MedianClass;
    use disclosure::place::Place;
    use disclosure::rule::Level;
    use scouting::visit::week::WeekStart;

    /// A row of a county with so many fields, least and most of them at threshold.
    pub(crate) fn row(county: &str, fields: u32, at_threshold: [u32; 2]) -> PublicRow {
        PublicRow {
            place: Place::County(county.to_owned()),
            season: 2026,
            iso_week: "2026-W30".to_owned(),
            week_starts: WeekStart::MONDAY,
            protocol: "bsm-eggs".to_owned(),
            edition: 1,
            visits_until: Date::constant(2026, 7, 27),
            level: Level::Survey,
            fields_visited: fields,
            at_threshold,
            median: None,
            mean_pressure: None,
            fields_with_assumed_economics: Some(0),
            fields_outside_stage: Some(0),
            treatment_weeks: None,
            window_basis: None,
            stages: Vec::new(),
            cells: Vec::new(),
        }
    }

    #[test]
    fn every_kind_of_count_has_its_words() {
        for (fields, at_threshold, words, short) in [
            (4, [0, 0], "none of 4", "0 of 4"),
            (4, [1, 4], "1 or more of 4", "1+ of 4"),
            (6, [4, 4], "4 of 6", "4 of 6"),
            (6, [5, 6], "5 or more of 6", "5+ of 6"),
            (7, [1, 2], "1 to 2 of 7", "1–2 of 7"),
            (7, [3, 7], "3 or more of 7", "3+ of 7"),
        ] {
            let row = row("001", fields, at_threshold);
            assert_eq!(fields_in_words(&row), words);
            assert_eq!(fields_in_short(&row), short);
        }
    }

    #[test]
    fn days_and_classes_are_said_as_a_county_agent_does() {
        let mut shown = row("001", 6, [4, 4]);
        assert_eq!(
            (median_in_words(&shown), treatment_in_words(&shown)),
            (None, None)
        );
        shown.treatment_weeks = Some(["2026-W32".to_owned(), "2026-W33".to_owned()]);
        shown.median = Some(MedianClass {
            from: 0.5,
            below: Some(1.0),
            nothing_found: false,
        });
        assert_eq!(
            treatment_in_words(&shown).as_deref(),
            Some("Aug\u{a0}3\u{a0}–\u{a0}Aug\u{a0}16")
        );
        assert_eq!(median_in_words(&shown).as_deref(), Some("0.5 to under 1"));
        let until = |day| visits_until_in_words(&shown, Some(Date::constant(2026, 7, day)));
        assert_eq!(until(27), None);
        assert_eq!(until(30).as_deref(), Some("visits through July\u{a0}27"));
        // Wilson's interval of 4 of 6 is 0.3000 to 0.9032 (by the formula of Newcombe 1998).
        assert_eq!(percent_in_words(&shown, "–"), "30–90%");
        // By scipy's beta.sf(1/3, 4.5, 2.5) of 4 of 6, and of 1 and 3 of 3.
        assert_eq!(over_third_in_words(&shown), "95%");
        assert_eq!(over_third_in_words(&row("001", 3, [1, 3])), "53–99%");
        assert_eq!(over_third_in_words(&row("001", 6, [5, 6])), "99% or more");
        assert_eq!(over_third_in_words(&row("001", 0, [0, 0])), "");
    }
}
