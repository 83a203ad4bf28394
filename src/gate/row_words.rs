//! A public row in the words of a table, so that the row of a file can be compared with it.

use disclosure::public_row::PublicRow;

/// Place, week, protocol and figures of a row, as a table writes them.
pub(super) type RowWords = Vec<String>;
/// The columns [`FURTHER`] of a row.
pub(super) type FurtherWords = [String; 6];

/// What of a row is compared: what names it, and the figures from which others follow.
pub(super) const COMPARED: [&str; 8] = [
    "iso_week",
    "protocol",
    "edition",
    "fields_visited",
    "at_threshold_min",
    "at_threshold_max",
    "median_class",
    "mean_pressure",
];
/// What is compared in the tables that have it: a count that was withheld must not come back in one of these.
pub(super) const FURTHER: [&str; 6] = [
    "level",
    "fields_with_assumed_economics",
    "fields_outside_stage",
    "treatment_first_week",
    "treatment_last_week",
    "window_basis",
];

pub(super) fn words_of(row: &PublicRow) -> RowWords {
    let [least, most] = row.at_threshold;
    let class = row.median.map_or_else(String::new, |class| class.word());
    let mean = row.mean_pressure.map_or_else(String::new, number);
    vec![
        row.place.in_words(),
        row.iso_week.clone(),
        row.protocol.clone(),
        row.edition.to_string(),
        row.fields_visited.to_string(),
        least.to_string(),
        most.to_string(),
        class,
        mean,
    ]
}

pub(super) fn further_words_of(row: &PublicRow) -> FurtherWords {
    let count = |count: Option<u32>| count.map_or_else(String::new, |count| count.to_string());
    let [first, last] = row.treatment_weeks.clone().unwrap_or_default();
    [
        row.level.word().to_owned(),
        count(row.fields_with_assumed_economics),
        count(row.fields_outside_stage),
        first,
        last,
        row.window_basis.clone().unwrap_or_default(),
    ]
}

/// A number as every table of it is read: 0.60 and 0.6 are one.
pub(super) fn number(value: f64) -> String {
    format!("{value:?}")
}
