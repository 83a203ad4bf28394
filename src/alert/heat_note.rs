//! A note to the office on the degree-days of an alert's week: the public reads a comparison, or none.

use crate::figures::rolled_up::Figures;
use crate::shared::report;
use scouting::visit::week::IsoWeek;

/// Says on stderr why a week is not compared by degree-days, or that its sum ends before its middle; nothing without
/// temperatures, and of a week without a public row of a county.
pub(crate) fn note_heat(figures: &Figures, week: IsoWeek, protocol: &str) {
    let shown = figures.rows_under(week, protocol);
    let compared = shown.iter().any(|row| row.median.is_some());
    if figures.heat.from().is_none() || !compared {
        return;
    }
    match figures.heat.through(protocol, week) {
        None => report::note(&format!(
            "note: the alert of {week} has no comparison by degree-days: a station lacks temperatures of a day before the \
             week, or they end before it, or the protocol has no crop model\nhelp: bring the file that [weather] names up to \
             date"
        )),
        Some(day) if day < figures.setting.weeks.middle_day(week) => report::note(&format!(
            "note: degree-days of {week} are summed through {day}, the last day of temperatures"
        )),
        Some(_) => {}
    }
}
