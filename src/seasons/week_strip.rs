//! The heat strip of a place: a row a season, a cell a week, colored by the week's pressure in the colors of the map.

use std::fmt::Write;

use super::season::Season;
use crate::shared::chart::{Anchor, Chart, WIDTH, chart, short, text};
use crate::shared::classes::{Class, bands};
use crate::shared::shown_numbers::{Form, display_number};
use disclosure::rule::Level;

const ROW: f64 = 24.0;
const TOP: f64 = 4.0;
const LEFT: f64 = 52.0;
/// More weeks than this have no room for a label each.
const LABELS_MAX: i32 = 8;
/// Below a bound by no more than rounding belongs to the upper class, as elsewhere.
const ROUNDING: f64 = 1e-12;

/// The classes that cells are painted in, from low to high. A cell shows one number, which any level of disclosure has,
/// and so it takes the classes that do not overlap.
pub(super) fn strip_classes() -> impl Iterator<Item = Class> {
    let medians = (0..bands(Level::Survey).len()).map(|place| Class::Median(Level::Survey, place));
    std::iter::once(Class::NothingFound).chain(medians)
}

fn class_of(pressure: f64) -> Class {
    let reached = |class: &Class| {
        let from = class.band().map(|band| band.from);
        pressure > 0.0 && from.is_some_and(|from| pressure + ROUNDING >= from)
    };
    let last = strip_classes().filter(reached).last();
    last.unwrap_or(Class::NothingFound)
}

/// Draws the seasons of one place, oldest first, over these weeks of the year. `id` distinguishes the charts of a page.
pub(crate) fn draw_week_strip(
    id: &str,
    place: &str,
    seasons: &[&Season],
    [first, last]: [i32; 2],
) -> Chart {
    let wide = (WIDTH - LEFT - 6.0) / f64::from(last - first + 1);
    let left_of = |week: i32| LEFT + f64::from(week - first) * wide;
    let mut inner = String::new();
    let mut said = Vec::new();
    for (row, season) in seasons.iter().enumerate() {
        let top = TOP + row as f64 * ROW;
        let name = season.season.to_string();
        text(&mut inner, [LEFT - 8.0, top + 16.0], Anchor::End, "", &name);
        for week in &season.weeks {
            draw_cell(&mut inner, left_of(week.week), top, wide, week.pressure);
        }
        let weeks: Vec<String> = season
            .weeks
            .iter()
            .map(|week| {
                format!(
                    "week {} {}",
                    week.week,
                    display_number(week.pressure, Form::Pressure)
                )
            })
            .collect();
        said.push(match weeks.is_empty() {
            true => format!("{name}: no week shown"),
            false => format!("{name}: {}", weeks.join(", ")),
        });
    }
    let base = TOP + seasons.len() as f64 * ROW + 18.0;
    let step = (last - first) / LABELS_MAX + 1;
    for week in (first..=last).step_by(usize::try_from(step).unwrap_or(1)) {
        let middle = [left_of(week) + wide / 2.0, base];
        text(&mut inner, middle, Anchor::Middle, "", &format!("W{week}"));
    }
    chart(
        id,
        base + 6.0,
        &format!("Pressure by week and season, {place}"),
        &format!("{}.", said.join("; ")),
        &inner,
    )
}

fn draw_cell(inner: &mut String, left: f64, top: f64, wide: f64, pressure: f64) {
    let class = class_of(pressure);
    let (stroke, width) = match class.at_threshold() {
        true => ("#000", 2.5),
        false => ("#777", 0.8),
    };
    let _ = write!(
        inner,
        r#"<path d="M{} {}h{}v19h-{}Z" fill="{}" stroke="{stroke}" stroke-width="{width}"/>"#,
        short(left + 1.5),
        short(top + 2.0),
        short(wide - 3.0),
        short(wide - 3.0),
        class.fill(),
    );
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_is_painted_in_the_highest_class_that_it_reaches() {
        let place = |pressure: f64| match class_of(pressure) {
            Class::Median(Level::Survey, place) => Some(place),
            Class::NothingFound => None,
            other => panic!("{other:?} is no class of a strip"),
        };
        let found = [
            0.0,
            0.125,
            0.25,
            0.375,
            0.5,
            0.9375,
            1.0 - 1e-15,
            1.25,
            1.5,
            7.0,
        ];
        assert_eq!(
            found.map(place),
            [
                None,
                Some(0),
                Some(1),
                Some(1),
                Some(2),
                Some(2),
                Some(3),
                Some(3),
                Some(4),
                Some(4)
            ]
        );
        assert!(class_of(1.0).at_threshold() && !class_of(0.99).at_threshold());
    }
}
