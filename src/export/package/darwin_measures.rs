//! The figures that go with an event of the Darwin Core archive: what, value, unit and how.

use super::darwin_event::Event;
use super::facts::Level;
use super::package_file::one_line;
use scouting::failure::Failure;

/// A figure: the column that has it, what it is, its unit; the unit `counted` is that of the field's mean.
type Figure = (&'static str, &'static str, &'static str);

const COUNTED: &str = "counted";

const OF_A_COUNTY: [Figure; 7] = [
    (
        "at_threshold_min",
        "least number of fields at threshold",
        "fields",
    ),
    (
        "at_threshold_max",
        "greatest number of fields at threshold",
        "fields",
    ),
    (
        "share_low",
        "lower limit of the 95% Wilson confidence interval of the share at threshold",
        "1",
    ),
    (
        "share_high",
        "upper limit of the 95% Wilson confidence interval of the share at threshold",
        "1",
    ),
    (
        "median_from",
        "lower bound of the class of the median of count / threshold, included",
        "1",
    ),
    (
        "median_below",
        "upper bound of the class of the median of count / threshold, not included",
        "1",
    ),
    (
        "mean_pressure",
        "mean of count / threshold, to the nearest 0.2",
        "1",
    ),
];
const OF_A_VISIT: [Figure; 5] = [
    ("field_mean", "mean of the site means", COUNTED),
    ("standard_error", "standard error of the mean", COUNTED),
    ("threshold", "threshold of the field", COUNTED),
    ("pressure", "count / threshold", "1"),
    ("area_ha", "area of the field", "ha"),
];
const OF_A_ROW: [Figure; 2] = [
    ("field_mean", "mean of the site means", COUNTED),
    ("standard_error", "standard error of the mean", COUNTED),
];

/// What was measured, but for what has no value.
///
/// # Errors
/// A [`Failure`] if the table lacks a column.
pub(super) fn measures_of(level: Level, event: &Event) -> Result<Vec<[String; 4]>, Failure> {
    let figures: &[Figure] = match level {
        Level::Public => &OF_A_COUNTY,
        Level::Grid => &OF_A_ROW,
        Level::Full => &OF_A_VISIT,
    };
    let mut measures = Vec::new();
    for (column, kind, unit) in figures {
        let value = event.text(column)?;
        if value.is_empty() {
            continue;
        }
        let counted = one_line(&event.protocol.counted);
        let unit = if *unit == COUNTED {
            counted
        } else {
            (*unit).to_owned()
        };
        let method = match *column {
            "threshold" => one_line(&event.protocol.threshold.formula),
            _ => "see DICTIONARY.md of the package".to_owned(),
        };
        measures.push([(*kind).to_owned(), value, unit, method]);
    }
    Ok(measures)
}
