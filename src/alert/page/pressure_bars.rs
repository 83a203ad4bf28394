//! The chart of how the week's counties spread over the classes of the median: one bar per class of the map.

use std::fmt::Write;

use crate::seasons::season_so_far::PressureClass;
use crate::shared::chart::{Anchor, Chart, FAINT, WIDTH, chart, short, text};
use crate::shared::classes::Class;
use crate::shared::count_words::CountWords;
use crate::shared::shown_numbers::count_of;
use disclosure::median_class::MedianClass;
use disclosure::rule::Level;

const ROW: f64 = 24.0;
const TOP: f64 = 4.0;
/// Where bars begin, and the longest ends.
const LEFT: f64 = 118.0;
const RIGHT: f64 = WIDTH - 44.0;

/// Draws it; `None` where no county of the week has a class. `levels` are those of the week's rows,
/// one or more.
pub(crate) fn draw_pressure_bars(
    classes: &[PressureClass],
    levels: &[Level],
    words: CountWords,
) -> Option<Chart> {
    let most = classes.iter().map(|class| class.counties).max()?;
    let rows = bars(classes, levels);
    let mut inner = String::new();
    for (place, (class, counties)) in rows.iter().enumerate() {
        let top = TOP + place as f64 * ROW;
        let base = top + 16.0;
        text(
            &mut inner,
            [LEFT - 8.0, base],
            Anchor::End,
            "",
            label(*class),
        );
        let length = short(*counties as f64 / most as f64 * (RIGHT - LEFT));
        let (stroke, width) = match class.at_threshold() {
            true => ("#000", 2.5),
            false => ("#555", 1.0),
        };
        if *counties > 0 {
            let _ = write!(
                inner,
                r#"<path d="M{LEFT} {}h{length}v17h-{length}Z" fill="{}" stroke="{stroke}" stroke-width="{width}"/>"#,
                short(top + 3.0),
                class.fill()
            );
        }
        let after = [LEFT + length + 7.0, base];
        text(&mut inner, after, Anchor::Start, "", &counties.to_string());
    }
    let height = TOP + rows.len() as f64 * ROW + 4.0;
    let _ = write!(
        inner,
        r#"<path d="M{LEFT} {TOP}V{}" stroke="{FAINT}"/>"#,
        short(height - 4.0)
    );
    let said: Vec<String> = rows
        .iter()
        .map(|(class, counties)| format!("{}: {counties}", label(*class)))
        .collect();
    let all = rows.iter().map(|(_, counties)| counties).sum::<i64>();
    let all = count_of(
        usize::try_from(all).unwrap_or_default(),
        "county",
        "counties",
    );
    Some(chart(
        "pressure",
        height,
        "Counties by class of the median",
        &format!(
            "{all} by class of the median; 1 is {}. {}.",
            words.at(),
            said.join("; ")
        ),
        &inner,
    ))
}

/// Every class of these levels with its counties, in the order of the legend; of the other level those that have a
/// county.
fn bars(classes: &[PressureClass], levels: &[Level]) -> Vec<(Class, i64)> {
    let mut of_all = levels.to_vec();
    of_all.extend(
        [Level::Survey, Level::Strict]
            .iter()
            .filter(|level| !levels.contains(level)),
    );
    let found: Vec<(Class, i64)> = classes
        .iter()
        .map(|found| (class_of(found, &of_all), found.counties))
        .collect();
    let counties_in = |class: Class| -> i64 {
        let of_class = found.iter().filter(|(other, _)| *other == class);
        of_class.map(|(_, counties)| counties).sum()
    };
    Class::known(&of_all)
        .into_iter()
        .map(|class| (class, counties_in(class)))
        .filter(|(class, counties)| match class {
            Class::NothingFound => true,
            Class::Median(level, _) => levels.contains(level) || *counties > 0,
            Class::MedianOfEarlierRow => *counties > 0,
            _ => false,
        })
        .collect()
}

/// The class of the first of these levels that has one of these bounds.
fn class_of(found: &PressureClass, levels: &[Level]) -> Class {
    let median = MedianClass {
        from: found.from,
        below: found.below,
        nothing_found: found.nothing_found,
    };
    if found.nothing_found {
        return Class::NothingFound;
    }
    let mut classes = Class::known(levels).into_iter();
    let same = |class: &Class| {
        let band = class.band();
        band.is_some_and(|band| (band.from, band.below) == (median.from, median.below))
    };
    let by_lower_bound = || Class::of_median(levels[0], &median);
    classes.find(same).unwrap_or_else(by_lower_bound)
}

fn label(class: Class) -> &'static str {
    class.band().map_or("nothing found", |band| band.short)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn class(from: f64, below: Option<f64>, counties: i64) -> PressureClass {
        PressureClass {
            nothing_found: false,
            from,
            below,
            counties,
        }
    }

    fn nothing_found(counties: i64) -> PressureClass {
        PressureClass {
            nothing_found: true,
            ..class(0.0, None, counties)
        }
    }

    #[test]
    fn every_class_has_its_bar_and_the_classes_of_the_roll_up_are_those_of_the_map() {
        let found = [
            nothing_found(10),
            class(0.0, Some(0.25), 5),
            class(1.0, Some(1.5), 2),
            class(1.5, None, 1),
        ];
        let svg = draw_pressure_bars(&found, &[Level::Survey], CountWords::Threshold)
            .expect("counties")
            .svg;
        let said = "18 counties by class of the median; 1 is at threshold. nothing found: 10; under 0.25: 5; 0.25 to \
                    &#60;0.5: 0; 0.5 to &#60;1: 0; 1 to &#60;1.5: 2; 1.5 to &#60;3: 0; 3 or more: 0; 1.5 or more: 1.";
        assert!(svg.contains(said), "{svg}");
        assert!(svg.contains(">Counties by class of the median<"), "{svg}");
        // The longest bar is that of the most counties; the two at threshold have the thick outline.
        assert!(
            svg.contains("h198v17h-198Z") && svg.contains("h99v17"),
            "{svg}"
        );
        assert_eq!(svg.matches(r##"stroke="#000""##).count(), 2);
        assert_eq!(
            draw_pressure_bars(&[], &[Level::Survey], CountWords::Threshold),
            None
        );
    }

    #[test]
    fn a_strict_week_has_its_own_classes_and_one_of_the_other_level_is_not_lost() {
        let found = [
            nothing_found(1),
            class(0.0, Some(0.5), 2),
            class(0.25, Some(0.5), 3),
            class(1.0, Some(1.5), 4),
        ];
        let svg = draw_pressure_bars(&found, &[Level::Strict], CountWords::Threshold)
            .expect("counties")
            .svg;
        let said = "10 counties by class of the median; 1 is at threshold. nothing found: 1; under 0.25: 0; under 0.5: \
                    2; 0.25 to &#60;0.5: 3; 0.5 to &#60;1: 0; 0.5 or more: 0; 1 or more: 0; 1 to &#60;1.5: 4.";
        assert!(svg.contains(said), "{svg}");
    }
}
