//! The sentence about how this week compares with earlier seasons. Says nothing about fields that are not shown.

use super::shown_days::day_of_year_in_words;
use super::shown_numbers::{Form, count_of, display_number};
use crate::rollup::season_weeks::SeasonWeek;
use crate::rollup::seasons::Place;
use crate::statistics::season_place::{EARLIER_LEAST, SeasonPlace};

/// In one sentence or two. `heat_from` is the month and day from which heat is summed; `None` without temperatures.
pub fn season_place_in_words(now: &SeasonWeek, heat_from: Option<(i8, i8)>) -> String {
    let week = now.figures.week;
    let pressure = display_number(now.figures.pressure, Form::Pressure);
    let of = match now.place {
        Place::Region => "of the counties shown, each counting once,",
        Place::County(..) => "of the fields visited",
    };
    let start = format!("Mean pressure {of} is {pressure}");
    let by_week = match (now.at_week.percentile(), now.at_week.earlier) {
        (Some(_), _) => format!(
            "{start}: {}.",
            stands(&now.at_week, &format!("in week {week}"))
        ),
        (None, 0) => {
            format!("{start}; no earlier season has a figure for week {week} to compare with.")
        }
        (None, earlier) => format!(
            "{start}; {} for week {week}, and a comparison takes {EARLIER_LEAST}: fewer could not tell in which quarter of \
             the seasons this one lies.",
            have(earlier)
        ),
    };
    match (heat_from, now.heat, &now.at_heat) {
        (None, _, _) => by_week,
        (Some(from), Some(heat), Some(place)) => {
            let sum = format!(
                "{heat:.0} degree-days (\u{b0}C) since {}",
                day_of_year_in_words(from)
            );
            let by_heat = match (place.percentile(), place.earlier) {
                (Some(_), _) => format!(
                    "At the same heat sum, {sum}, it is {}.",
                    stands(place, "then")
                ),
                (None, 0) => {
                    format!("At the same heat sum, {sum}, no earlier season has a figure.")
                }
                (None, earlier) => format!("At the same heat sum, {sum}, only {}.", have(earlier)),
            };
            format!("{by_week} {by_heat}")
        }
        (Some(_), _, _) => format!(
            "{by_week} By heat it cannot be compared: the temperatures do not reach from the first day of the sum to the \
             middle of the week, or the protocol has no model of the crop."
        ),
    }
}

/// What degree-days there are: summed from which day of the year, known in how many of all weeks with figures.
pub fn heat_in_words(from: Option<(i8, i8)>, known: usize, all: usize) -> String {
    match (from, known) {
        (None, _) => {
            "Degree-days are empty: the workspace has no temperatures ([weather] file).".to_owned()
        }
        (Some(from), 0) => format!(
            "Degree-days are empty: no week has the temperatures of every day from {} to its middle, or the protocol has \
             no model of the crop.",
            day_of_year_in_words(from)
        ),
        (Some(from), known) => format!(
            "Degree-days (\u{b0}C) of the protocol's crop are summed from {} to the middle of each week; they are known for \
             {known} of {all} weeks of places.",
            day_of_year_in_words(from)
        ),
    }
}

/// `2 earlier seasons have figures`.
fn have(earlier: usize) -> String {
    let verb = if earlier == 1 {
        "has a figure"
    } else {
        "have figures"
    };
    format!(
        "{} {verb}",
        count_of(earlier, "earlier season", "earlier seasons")
    )
}

/// `higher than in 3 of 5 earlier seasons in week 32 (percentile 60)`.
fn stands(place: &SeasonPlace, when: &str) -> String {
    let level = match place.level {
        0 => String::new(),
        level => format!(" and level with {level}"),
    };
    let percentile = place.percentile().unwrap_or_default();
    format!(
        "higher than in {} of {} earlier seasons{level} {when} (percentile {percentile:.0})",
        place.below, place.earlier
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::season_course::WeekFigures;

    fn week(earlier: &[f64], at_heat: Option<&[f64]>) -> SeasonWeek {
        SeasonWeek {
            place: Place::Region,
            protocol: "bsm-eggs".to_owned(),
            season: 2026,
            figures: WeekFigures {
                week: 32,
                share_at_threshold: 0.2,
                pressure: 0.62,
            },
            heat: at_heat.map(|_| 612.4),
            at_week: SeasonPlace::among(0.62, earlier),
            at_heat: at_heat.map(|values| SeasonPlace::among(0.62, values)),
        }
    }

    #[test]
    fn the_place_is_said_with_what_it_rests_on() {
        let said = season_place_in_words(&week(&[0.1, 0.2, 0.3, 0.9, 1.0], None), None);
        assert_eq!(
            said,
            "Mean pressure of the counties shown, each counting once, is 0.62: higher than in 3 of 5 earlier seasons in \
             week 32 (percentile 60)."
        );
        let both = week(&[0.1, 0.62, 0.3, 0.9], Some(&[0.1, 0.2, 0.8, 0.9]));
        let said = season_place_in_words(&both, Some((1, 1)));
        assert!(
            said.contains("2 of 4 earlier seasons and level with 1 in week 32 (percentile 62)"),
            "{said}"
        );
        assert!(
            said.contains("612 degree-days (\u{b0}C) since 1 January, it is higher than in 2 of 4 earlier seasons then (percentile 50)"),
            "{said}"
        );
    }

    #[test]
    fn too_few_seasons_and_missing_temperatures_are_said() {
        let said = season_place_in_words(&week(&[0.1, 0.2], None), None);
        assert!(
            said.contains("2 earlier seasons have figures for week 32, and a comparison takes 4"),
            "{said}"
        );
        assert!(!said.contains("heat"), "{said}");
        let said = season_place_in_words(&week(&[], None), Some((1, 1)));
        assert!(
            said.contains("no earlier season has a figure for week 32"),
            "{said}"
        );
        assert!(said.contains("By heat it cannot be compared"), "{said}");
        let said = season_place_in_words(&week(&[0.1; 4], Some(&[0.1])), Some((1, 1)));
        assert!(
            said.contains("only 1 earlier season has a figure."),
            "{said}"
        );
    }
}
