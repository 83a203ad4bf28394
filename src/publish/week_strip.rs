//! The heat strip of a place: a row a season, a cell a week, coloured by the week's mean pressure in the classes
//! of the map.

use std::fmt::Write;

use super::chart::{Anchor, Chart, WIDTH, chart, short, text};
use super::classes::Class;
use super::shown_numbers::{Form, display_number};
use crate::rollup::county_week::Cell;
use crate::rollup::seasons::Season;

const ROW: f64 = 24.0;
const TOP: f64 = 4.0;
const LEFT: f64 = 52.0;
/// More weeks than this have no room for a label each.
const LABELS_MAX: i32 = 8;

/// Draws the seasons of one place, oldest first, over these weeks of the year. `id` tells the charts of a page apart.
pub fn draw_week_strip(
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
        &format!("Mean pressure by week and season, {place}"),
        &format!("{}.", said.join("; ")),
        &inner,
    )
}

fn draw_cell(inner: &mut String, left: f64, top: f64, wide: f64, pressure: f64) {
    let class = match pressure > 0.0 {
        true => Class::of(Some(Cell::Pressure(pressure))),
        false => Class::NoneFound,
    };
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
