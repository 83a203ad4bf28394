//! The rows of the county table: what each cell says, and the figure by which it sorts.

use std::collections::{HashMap, HashSet};

use super::row_words::{
    fields_in_words, median_in_short, over_third_in_words, percent_in_words, treatment_days,
    treatment_in_words, visits_until_in_words,
};
use super::summary::Summary;
use super::when::day_number;
use crate::alert::bulletin::Bulletin;
use crate::shared::shown_names::{display_name, display_numbers};
use disclosure::public_row::PublicRow;

/// A place in the table; cells as text, so that the page rounds nothing.
pub(super) struct TableRow {
    pub(super) place: String,
    /// Its number on the map; `None` elsewhere.
    pub(super) number: Option<usize>,
    /// `visits through August 5`, where the row has not seen the newest submission.
    pub(super) until: Option<String>,
    pub(super) at_threshold: bool,
    /// Figures; `None` where all fields are at another stage.
    pub(super) figures: Option<FigureCells>,
    /// Fields at another crop stage.
    pub(super) other_stage: Option<u32>,
}

/// The cells of a place with figures.
pub(super) struct FigureCells {
    pub(super) fields: u32,
    /// Fields at threshold; sorts by the middle share.
    pub(super) at_threshold: Sortable,
    /// The 95% interval of the percent; sorts by its lower end.
    pub(super) percent: Sortable,
    /// The chance that over a third of the fields are at threshold; sorts by the middle of its ends.
    pub(super) over_third: Sortable,
    /// The class of the median; sorts by its middle.
    pub(super) median: Option<Sortable>,
    /// The same of the week before.
    pub(super) before: Option<Sortable>,
    /// Weeks of treatment; sorts by the first.
    pub(super) due: Option<Sortable>,
}

/// What is shown, and the figure by which it sorts.
pub(super) struct Sortable {
    pub(super) shown: String,
    pub(super) value: f64,
}

/// The places with a row: counties by name, so that whoever looks for one finds it and none is ranked by figures whose
/// intervals overlap unless a reader asks for it; then the rows elsewhere.
pub(super) fn table_rows(bulletin: &Bulletin, summary: &Summary) -> Vec<TableRow> {
    let before: HashMap<&str, &PublicRow> = bulletin
        .previous
        .unwrap_or_default()
        .iter()
        .filter_map(|row| Some((row.place.county()?, row)))
        .collect();
    let numbers = display_numbers(bulletin.region);
    let mut rows: Vec<_> = bulletin
        .rows
        .iter()
        .map(|row| {
            let county = row.place.county();
            TableRow {
                place: match county {
                    Some(id) => summary.name(id),
                    None => display_name(&row.place.in_words()),
                },
                number: county.and_then(|id| numbers.get(id).copied()),
                until: visits_until_in_words(row, bulletin.visits_until),
                at_threshold: row.at_threshold[0] > 0,
                figures: figures(row, county.and_then(|id| before.get(id).copied())),
                other_stage: row.fields_outside_stage,
            }
        })
        .collect();
    rows.sort_by(|one, other| {
        let key = |row: &TableRow| (row.number.is_none(), row.place.clone());
        key(one).cmp(&key(other))
    });
    rows
}

/// The counties without a row, each with its number on the map, in the order of these numbers.
pub(super) fn counties_without_figures(bulletin: &Bulletin, summary: &Summary) -> Vec<String> {
    let numbers = display_numbers(bulletin.region);
    let with_row: HashSet<&str> = bulletin
        .rows
        .iter()
        .filter_map(|row| row.place.county())
        .collect();
    let counties = bulletin.region.counties().iter();
    let mut without: Vec<(usize, String)> = counties
        .filter(|county| !with_row.contains(&*county.id))
        .map(|county| (numbers[&*county.id], summary.name(&county.id)))
        .collect();
    without.sort();
    without
        .into_iter()
        .map(|(number, name)| format!("{name}\u{a0}({number})"))
        .collect()
}

fn figures(row: &PublicRow, before: Option<&PublicRow>) -> Option<FigureCells> {
    let [low, _] = row.share_interval()?;
    let over_third = row.over_third()?;
    let median = |row: &PublicRow| {
        Some(Sortable {
            shown: median_in_short(row)?,
            value: row.median?.middle(),
        })
    };
    Some(FigureCells {
        fields: row.fields_visited,
        at_threshold: Sortable {
            shown: fields_in_words(row),
            value: row.share_middle()?,
        },
        percent: Sortable {
            shown: percent_in_words(row, "–"),
            value: low,
        },
        over_third: Sortable {
            shown: over_third_in_words(row),
            value: over_third.iter().sum::<f64>() / 2.0,
        },
        median: median(row),
        before: before.and_then(median),
        due: treatment_in_words(row)
            .zip(treatment_days(row))
            .map(|(shown, [opens, _])| Sortable {
                shown,
                value: day_number(opens),
            }),
    })
}
