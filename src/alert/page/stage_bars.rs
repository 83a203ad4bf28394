//! The chart of how far the crop has come: one bar per week, cut into the stages, or ranges of
//! stages, of its fields.

use std::fmt::Write;

use crate::seasons::season_so_far::StageCount;
use crate::shared::chart::{Anchor, Chart, WIDTH, chart, number_of, short, text};
use crate::shared::shown_numbers::{Form, display_number};

const ROW: f64 = 30.0;
const TOP: f64 = 4.0;
const LEFT: f64 = 46.0;
const RIGHT: f64 = WIDTH - 48.0;
/// Weeks before these have nothing more to say about now.
const WEEKS_MAX: usize = 6;
/// Fill and ink of the stages in the protocol's window, and of the others in turn.
const IN_WINDOW: (&str, &str) = ("#35456c", "#fff");
const OUTSIDE: [(&str, &str); 2] = [("#e6e2d3", "#000"), ("#d0cbb8", "#000")];
/// A letter of the labels is about so wide; from memory, 0.6 of its size.
const LETTER: f64 = 9.0;

/// Draws the newest weeks; `None` where none has a field. `stages` are sorted by week and growth.
pub(crate) fn draw_stage_bars(stages: &[StageCount]) -> Option<Chart> {
    let weeks: Vec<&[StageCount]> = stages
        .chunk_by(|one, next| one.iso_week == next.iso_week)
        .collect();
    let weeks = &weeks[weeks.len().saturating_sub(WEEKS_MAX)..];
    weeks.last()?;
    let mut inner = String::new();
    let mut said = Vec::new();
    for (row, stages) in weeks.iter().enumerate() {
        let number = number_of(&stages[0].iso_week)?;
        let all: i64 = stages.iter().map(|stage| stage.fields).sum();
        let top = TOP + row as f64 * ROW;
        let base = top + 18.0;
        text(
            &mut inner,
            [LEFT - 8.0, base],
            Anchor::End,
            "",
            &format!("W{number}"),
        );
        draw_week(stages, all, top, &mut inner);
        text(
            &mut inner,
            [RIGHT + 8.0, base],
            Anchor::Start,
            "",
            &all.to_string(),
        );
        let parts: Vec<String> = stages
            .iter()
            .map(|stage| format!("{} {}", stage.crop_stage, percent(stage.fields, all)))
            .collect();
        said.push(format!("week {number}, {all} fields: {}", parts.join(", ")));
    }
    Some(chart(
        "stages",
        TOP + weeks.len() as f64 * ROW + 2.0,
        "Crop stages of the fields visited, by week",
        &format!("{}.", said.join("; ")),
        &inner,
    ))
}

fn draw_week(stages: &[StageCount], all: i64, top: f64, inner: &mut String) {
    let mut before = 0;
    for (place, stage) in stages.iter().enumerate() {
        let at = |fields: i64| LEFT + fields as f64 / all as f64 * (RIGHT - LEFT);
        let (from, to) = (at(before), at(before + stage.fields));
        before += stage.fields;
        let (fill, ink) = match stage.in_window {
            true => IN_WINDOW,
            false => OUTSIDE[place % 2],
        };
        let _ = write!(
            inner,
            r##"<path d="M{} {}H{}v22H{}Z" fill="{fill}" stroke="#fff" stroke-width="1.5"/>"##,
            short(from),
            short(top + 2.0),
            short(to),
            short(from)
        );
        let share = percent(stage.fields, all);
        let whole = format!("{} {share}", stage.crop_stage);
        let room = to - from - 6.0;
        let fits = |label: &&String| label.chars().count() as f64 * LETTER <= room;
        if let Some(label) = [&whole, &stage.crop_stage].into_iter().find(fits) {
            let middle = [(from + to) / 2.0, top + 18.0];
            let ink = format!(r#" fill="{ink}""#);
            text(inner, middle, Anchor::Middle, &ink, label);
        }
    }
}

fn percent(fields: i64, all: i64) -> String {
    let share = fields as f64 / all as f64;
    format!("{}%", display_number(share, Form::Percent))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn count(week: u32, stage: &str, fields: i64, in_window: bool) -> StageCount {
        StageCount {
            iso_week: format!("2026-W{week}"),
            crop_stage: stage.to_owned(),
            fields,
            in_window,
        }
    }

    #[test]
    fn a_week_is_cut_by_its_shares_and_stages_in_the_window_are_dark() {
        let stages = [
            count(28, "V", 10, false),
            count(28, "R2–R3", 30, true),
            count(29, "R3", 1, true),
            count(29, "R4", 97, false),
            count(29, "R5", 2, false),
        ];
        let svg = draw_stage_bars(&stages).expect("weeks").svg;
        assert!(
            svg.contains(
                "week 28, 40 fields: V 25%, R2–R3 75%; week 29, 100 fields: R3 1%, R4 97%, R5 2%."
            ),
            "{svg}"
        );
        assert!(
            svg.contains(">R2–R3 75%<") && svg.contains(">R4 97%<"),
            "{svg}"
        );
        // A sliver has no room for its name; the description has it.
        assert!(!svg.contains(">R5"), "{svg}");
        assert_eq!(svg.matches(IN_WINDOW.0).count(), 2);
        assert_eq!(draw_stage_bars(&[]), None);
    }

    #[test]
    fn only_the_newest_weeks_are_drawn() {
        let stages: Vec<StageCount> = (20..30).map(|week| count(week, "R2", 3, true)).collect();
        let svg = draw_stage_bars(&stages).expect("weeks").svg;
        assert!(!svg.contains("W23") && svg.contains(">W24<") && svg.contains(">W29<"));
    }
}
