//! The sentence about how this week compares with earlier seasons. Says nothing about fields that are not shown.

use super::shown_days::day_of_year_in_words;
use super::shown_numbers::{Form, display_number};
use crate::rollup::season_weeks::SeasonWeek;
use crate::rollup::seasons::Place;
use crate::statistics::season_place::{EARLIER_LEAST, SeasonPlace};

/// In one sentence or two. `heat_from` is the month and day from which heat is summed; `None` without temperatures.
pub fn season_place_in_words(now: &SeasonWeek, heat_from: Option<(i8, i8)>) -> String {
    let week = now.figures.week;
    let pressure = display_number(now.figures.pressure, Form::Pressure);
    let of = match now.place {
        Place::Region => ", each county shown counting once",
        Place::County(..) => "",
    };
    let start = format!("Mean pressure ({pressure}{of}) is higher");
    let by_week = match (now.at_week.percentile(), now.at_week.earlier) {
        (Some(_), _) => format!(
            "{start} {}",
            stands(&now.at_week, &format!("in week {week}"))
        ),
        (None, earlier) => format!(
            "How week {week} compares with earlier seasons is not said: {} for it{}",
            have(earlier),
            if earlier > 0 {
                format!(", and it takes {EARLIER_LEAST}")
            } else {
                String::new()
            }
        ),
    };
    let Some(from) = heat_from else {
        return format!("{by_week}.");
    };
    let since = day_of_year_in_words(from);
    let (Some(heat), Some(place)) = (now.heat, &now.at_heat) else {
        return format!(
            "{by_week}; by heat it cannot be said: temperatures of every day since {since}, or a model of the crop, are wanting."
        );
    };
    let sum = format!("at the same heat, {heat:.0} degree-days (\u{b0}C) since {since}");
    match (place.percentile(), now.at_week.percentile()) {
        (Some(_), Some(_)) => format!("{by_week}, and {}.", stands(place, &sum)),
        (Some(_), None) => format!("{by_week}. {start} {}.", stands(place, &sum)),
        (None, _) => format!("{by_week}; {sum}, {}.", have(place.earlier)),
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

/// `2 have figures`.
fn have(earlier: usize) -> String {
    match earlier {
        0 => "no earlier season has a figure".to_owned(),
        1 => "1 has a figure".to_owned(),
        several => format!("{several} have figures"),
    }
}

/// `than in 3 of 5 earlier seasons in week 32, level with 1 (percentile 70)`.
fn stands(place: &SeasonPlace, when: &str) -> String {
    let level = match place.level {
        0 => String::new(),
        level => format!(", level with {level}"),
    };
    let percentile = place.percentile().unwrap_or_default();
    format!(
        "than in {} of {} earlier seasons {when}{level} (percentile {percentile:.0})",
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
            "Mean pressure (0.62, each county shown counting once) is higher than in 3 of 5 earlier seasons in week 32 \
             (percentile 60)."
        );
        let both = week(&[0.1, 0.62, 0.3, 0.9], Some(&[0.1, 0.2, 0.8, 0.9]));
        assert_eq!(
            season_place_in_words(&both, Some((1, 1))),
            "Mean pressure (0.62, each county shown counting once) is higher than in 2 of 4 earlier seasons in week 32, \
             level with 1 (percentile 62), and than in 2 of 4 earlier seasons at the same heat, 612 degree-days (\u{b0}C) \
             since 1 January (percentile 50)."
        );
    }

    #[test]
    fn too_few_seasons_and_missing_temperatures_are_said() {
        let said = season_place_in_words(&week(&[0.1, 0.2], None), None);
        assert_eq!(
            said,
            "How week 32 compares with earlier seasons is not said: 2 have figures for it, and it takes 4."
        );
        let said = season_place_in_words(&week(&[], None), Some((1, 1)));
        assert!(
            said.contains("no earlier season has a figure for it; by heat it cannot be said"),
            "{said}"
        );
        let said = season_place_in_words(&week(&[0.1; 4], Some(&[0.1])), Some((1, 1)));
        assert!(said.ends_with("(percentile 100); at the same heat, 612 degree-days (\u{b0}C) since 1 January, 1 has a figure."), "{said}");
        let said = season_place_in_words(&week(&[0.1], Some(&[0.7; 4])), Some((1, 1)));
        assert!(said.contains("takes 4. Mean pressure (0.62, each county shown counting once) is higher than in 0 of 4"), "{said}");
    }
}
