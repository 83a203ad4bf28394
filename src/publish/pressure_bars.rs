//! The chart of how the week's fields spread over the classes of pressure: one bar a class of the map.

use std::fmt::Write;

use super::chart::{Anchor, Chart, FAINT, WIDTH, chart, short, text};
use super::classes::{Class, LOWER_BOUNDS};
use super::shown_numbers::count_of;
use crate::rollup::season_so_far::PressureClass;

const ROW: f64 = 24.0;
const TOP: f64 = 4.0;
/// Where bars begin, and the longest ends.
const LEFT: f64 = 118.0;
const RIGHT: f64 = WIDTH - 44.0;

/// Draws it; `None` where the week has no field to draw.
pub fn draw_pressure_bars(classes: &[PressureClass]) -> Option<Chart> {
    let most = classes.iter().map(|class| class.fields).max()?;
    let fields_in = |class: Class| -> i64 {
        let of_class = classes.iter().filter(|found| class_of(found) == class);
        of_class.map(|found| found.fields).sum()
    };
    let rows: Vec<(Class, i64)> = std::iter::once(Class::NoneFound)
        .chain((0..LOWER_BOUNDS.len()).map(Class::Median))
        .map(|class| (class, fields_in(class)))
        .collect();
    let mut inner = String::new();
    for (place, (class, fields)) in rows.iter().enumerate() {
        let top = TOP + place as f64 * ROW;
        let base = top + 16.0;
        text(
            &mut inner,
            [LEFT - 8.0, base],
            Anchor::End,
            "",
            label(*class),
        );
        let length = short(*fields as f64 / most as f64 * (RIGHT - LEFT));
        let (stroke, width) = match class.at_threshold() {
            true => ("#000", 2.5),
            false => ("#555", 1.0),
        };
        if *fields > 0 {
            let _ = write!(
                inner,
                r#"<path d="M{LEFT} {}h{length}v17h-{length}Z" fill="{}" stroke="{stroke}" stroke-width="{width}"/>"#,
                short(top + 3.0),
                class.fill()
            );
        }
        let after = [LEFT + length + 7.0, base];
        text(&mut inner, after, Anchor::Start, "", &fields.to_string());
    }
    let height = TOP + rows.len() as f64 * ROW + 4.0;
    let _ = write!(
        inner,
        r#"<path d="M{LEFT} {TOP}V{}" stroke="{FAINT}"/>"#,
        short(height - 4.0)
    );
    let said: Vec<String> = rows
        .iter()
        .map(|(class, fields)| format!("{}: {fields}", label(*class)))
        .collect();
    let all = rows.iter().map(|(_, fields)| fields).sum::<i64>();
    let all = count_of(usize::try_from(all).unwrap_or_default(), "field", "fields");
    Some(chart(
        "pressure",
        height,
        "Fields by pressure",
        &format!("{all} by pressure; 1 is at threshold. {}.", said.join("; ")),
        &inner,
    ))
}

fn class_of(found: &PressureClass) -> Class {
    match found.nothing_found {
        true => Class::NoneFound,
        false => Class::Median(
            LOWER_BOUNDS
                .iter()
                .rposition(|bound| found.from >= *bound)
                .unwrap_or_default(),
        ),
    }
}

fn label(class: Class) -> &'static str {
    match class {
        Class::NoneFound => "nothing found",
        Class::Median(0) => "under 0.25",
        Class::Median(1) => "0.25 to <0.5",
        Class::Median(2) => "0.5 to <0.75",
        Class::Median(3) => "0.75 to <1",
        Class::Median(4) => "1 to <1.5",
        Class::Median(_) => "1.5 or more",
        Class::TooFewFields | Class::OutsideStage | Class::NoVisits => class.words(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_class_has_its_bar_and_the_classes_of_the_roll_up_are_those_of_the_map() {
        let class = |nothing_found, from, fields| PressureClass {
            nothing_found,
            from,
            fields,
        };
        let found = [
            class(true, 0.0, 10),
            class(false, 0.0, 5),
            class(false, 1.0, 2),
            class(false, 1.5, 1),
        ];
        let svg = draw_pressure_bars(&found).expect("fields").svg;
        let said = "18 fields by pressure; 1 is at threshold. nothing found: 10; under 0.25: 5; 0.25 to &#60;0.5: 0; \
                    0.5 to &#60;0.75: 0; 0.75 to &#60;1: 0; 1 to &#60;1.5: 2; 1.5 or more: 1.";
        assert!(svg.contains(said), "{svg}");
        // The longest bar is that of the most fields; the two at threshold have the thick outline.
        assert!(
            svg.contains("h198v17h-198Z") && svg.contains("h99v17"),
            "{svg}"
        );
        assert_eq!(svg.matches(r##"stroke="#000""##).count(), 2);
        assert_eq!(draw_pressure_bars(&[]), None);
    }

    #[test]
    fn the_bounds_in_the_stage_are_those_of_the_map() {
        let stage = include_str!("../../pipeline/stages/82_region_pressure.sql");
        for bound in LOWER_BOUNDS {
            assert!(
                stage.contains(&format!("then {bound:?}\n")) || bound == 0.0,
                "{bound}"
            );
        }
        assert_eq!(
            stage.matches(" then ").count(),
            8,
            "bounds of another class"
        );
    }
}
