//! The sentence about how this week compares with earlier seasons. It is based on public rows, as its figures do.

use super::season_weeks::SeasonWeek;
use crate::figures::place::Place;
use crate::shared::count_words::CountWords;
use crate::shared::shown_days::day_of_year_in_words;
use crate::shared::shown_numbers::{Form, Units, display_number};
use stats::trend::season_place::{EARLIER_LEAST, SeasonPlace};

/// The comparison in one sentence or two. `heat_from` is the month and day from which degree-days are summed; `None`
/// without temperatures; the words are the protocol's, the units the office's.
pub(crate) fn season_place_in_words(
    now: &SeasonWeek,
    heat_from: Option<(i8, i8)>,
    (words, units): (CountWords, Units),
) -> String {
    let week = now.figures.week;
    let pressure = display_number(now.figures.pressure, Form::Pressure);
    let of = match now.place {
        Place::Region => "mean over the counties shown of the middle of each median class",
        Place::County(..) => "middle of the median class",
    };
    let level = words.the_level();
    let start = format!("Pressure ({pressure} \u{d7} {level}, {of}) is");
    let by_week = match now.at_week.rank() {
        Some(_) => format!("{start} {}", rank(&now.at_week, &format!("in week {week}"))),
        None => format!(
            "No comparison with earlier seasons in week {week} yet: {EARLIER_LEAST} are needed, {}",
            on_file(now.at_week.earlier)
        ),
    };
    let Some(from) = heat_from else {
        return format!("{by_week}.");
    };
    let (Some(heat), Some(place)) = (now.heat, &now.at_heat) else {
        // What the office would have to do about it is said to the office, where it drafts an alert.
        return format!("{by_week}.");
    };
    let since = day_of_year_in_words(from);
    let heat = units.degree_days(heat);
    let sum = format!("at the same heat, {heat} since {since}");
    match (place.rank(), now.at_week.rank()) {
        (Some(_), Some(_)) => format!("{by_week}, and {}.", rank(place, &sum)),
        (Some(_), None) => format!("{by_week}. {start} {}.", rank(place, &sum)),
        (None, _) => format!(
            "{by_week}; no comparison {sum}: {EARLIER_LEAST} earlier seasons are needed, {}.",
            on_file(place.earlier)
        ),
    }
}

/// Which degree-days are known: summed from which day of the year, in how many of all county-weeks and weeks of the
/// region with a pressure.
pub(crate) fn heat_in_words(from: Option<(i8, i8)>, known: usize, all: usize) -> String {
    match (from, known) {
        (None, _) => {
            "Degree-days are empty: the workspace has no temperatures ([weather] file).".to_owned()
        }
        (Some(_), _) if all == 0 => "Degree-days are empty: no week has a pressure.".to_owned(),
        (Some(from), 0) => format!(
            "Degree-days are empty: no week has the temperatures of every day from {} to its middle, or the protocol has \
             no model of the crop.",
            day_of_year_in_words(from)
        ),
        (Some(from), known) => format!(
            "Degree-days (\u{b0}C) of the protocol's crop are summed from {} to the middle of each week; they are known for \
             {known} of {all} weeks of counties and of the region.",
            day_of_year_in_words(from)
        ),
    }
}

/// `2 are on file`.
fn on_file(earlier: usize) -> String {
    match earlier {
        0 => "none is on file".to_owned(),
        1 => "1 is on file".to_owned(),
        several => format!("{several} are on file"),
    }
}

/// `higher than in 3 of 5 earlier seasons in week 32, equal to 1`; at the ends `the highest of 6 seasons in week 32` and
/// `the lowest of 6 seasons`.
fn rank(place: &SeasonPlace, when: &str) -> String {
    let SeasonPlace {
        earlier,
        below,
        level,
    } = *place;
    if below == earlier {
        return format!("the highest of {} seasons {when}", earlier + 1);
    }
    if below + level == 0 {
        return format!("the lowest of {} seasons {when}", earlier + 1);
    }
    let level = match level {
        0 => String::new(),
        level => format!(", equal to {level}"),
    };
    format!("higher than in {below} of {earlier} earlier seasons {when}{level}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use stats::trend::season_course::WeekFigures;

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

    fn season_place_in_words(now: &SeasonWeek, heat_from: Option<(i8, i8)>) -> String {
        super::season_place_in_words(now, heat_from, (CountWords::Threshold, Units::Metric))
    }

    const START: &str = "Pressure (0.62 \u{d7} threshold, mean over the counties shown of the middle of each median class) is";

    #[test]
    fn the_rank_is_given_with_what_it_rests_on() {
        let said = season_place_in_words(&week(&[0.1, 0.2, 0.3, 0.9, 1.0], None), None);
        assert_eq!(
            said,
            format!("{START} higher than in 3 of 5 earlier seasons in week 32.")
        );
        let since = day_of_year_in_words((1, 1));
        let both = week(&[0.1, 0.62, 0.3, 0.9], Some(&[0.1, 0.2, 0.8, 0.9]));
        assert_eq!(
            season_place_in_words(&both, Some((1, 1))),
            format!(
                "{START} higher than in 2 of 4 earlier seasons in week 32, equal to 1, and higher than in \
                 2 of 4 earlier seasons at the same heat, 612 degree-days (\u{b0}C) since {since}."
            )
        );
        // 612.4 degree-days of °C are 1,102.3 of °F.
        let risk = (CountWords::Risk, Units::Us);
        let said = super::season_place_in_words(&both, Some((1, 1)), risk);
        assert!(
            said.starts_with("Pressure (0.62 \u{d7} the risk level, mean"),
            "{said}"
        );
        assert!(
            said.contains("at the same heat, 1,102 degree-days (\u{b0}F) since"),
            "{said}"
        );
        let ends = week(&[0.1; 5], Some(&[0.7; 4]));
        let said = season_place_in_words(&ends, Some((1, 1)));
        assert!(
            said.contains("is the highest of 6 seasons in week 32, and the lowest of 5 seasons at"),
            "{said}"
        );
        let mut county = week(&[0.1; 4], None);
        county.place = Place::County("46013".to_owned(), "Brown".to_owned());
        let said = season_place_in_words(&county, None);
        assert!(
            said.starts_with(
                "Pressure (0.62 \u{d7} threshold, middle of the median class) is the highest"
            ),
            "{said}"
        );
    }

    #[test]
    fn too_few_seasons_and_missing_temperatures_are_said() {
        let said = season_place_in_words(&week(&[0.1, 0.2], None), None);
        assert_eq!(
            said,
            "No comparison with earlier seasons in week 32 yet: 4 are needed, 2 are on file."
        );
        let said = season_place_in_words(&week(&[], None), Some((1, 1)));
        assert!(
            said.ends_with("4 are needed, none is on file."),
            "the office's temperatures are no matter of the public: {said}"
        );
        let said = season_place_in_words(&week(&[0.1; 4], Some(&[0.1])), Some((1, 1)));
        let ends = "4 earlier seasons are needed, 1 is on file.";
        assert!(
            said.contains(
                "the highest of 5 seasons in week 32; no comparison at the same heat, 612"
            ) && said.ends_with(ends),
            "{said}"
        );
        let said = season_place_in_words(&week(&[0.1], Some(&[0.7; 4])), Some((1, 1)));
        assert!(
            said.contains(&format!("1 is on file. {START} the lowest of 5 seasons")),
            "{said}"
        );
        for (all, says) in [(0, "no week has a pressure"), (3, "no week has the temp")] {
            let said = heat_in_words(Some((1, 1)), 0, all);
            assert!(said.contains(says), "{said}");
        }
    }
}
