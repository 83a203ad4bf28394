//! The rows of the county table: what stands in each cell, and the figure by which it sorts.

use std::collections::HashMap;

use crate::publish::alert_page::Bulletin;
use crate::publish::shown_names::display_numbers;
use crate::publish::shown_numbers::{Form, display_number, interval_in_words, share_in_words};
use crate::publish::summary::Summary;
use crate::publish::when::{day_number, days_of_county};
use crate::rollup::county_week::{Cell, CountyWeek};

/// A county in the table; cells as text, so that the page rounds nothing.
pub(super) struct TableRow {
    pub(super) county: String,
    /// Its number on the map.
    pub(super) number: usize,
    pub(super) at_threshold: bool,
    pub(super) cells: Cells,
}

/// What stands beside the county's name.
pub(super) enum Cells {
    Figures(Box<FigureCells>),
    /// How many fields were visited outside the stage window.
    OutsideStage(i64),
    TooFewFields,
}

/// The cells of a county with figures.
pub(super) struct FigureCells {
    pub(super) visited: i64,
    pub(super) at_threshold: i64,
    pub(super) share: Sortable,
    pub(super) interval: String,
    pub(super) median: Sortable,
    /// The median of the week before.
    pub(super) before: Option<Sortable>,
    pub(super) highest: Sortable,
    /// Days of treatment; sorts by the first.
    pub(super) due: Option<Sortable>,
    pub(super) outside_stage: i64,
}

/// What is shown, and the figure as published by which it sorts.
pub(super) struct Sortable {
    pub(super) shown: String,
    pub(super) value: f64,
}

/// The counties with visits, by name: whoever looks for one county finds it, and none is ranked by
/// figures whose intervals overlap, unless a reader asks for it.
pub(super) fn table_rows(bulletin: &Bulletin, summary: &Summary) -> Vec<TableRow> {
    let before: HashMap<&str, f64> = bulletin
        .previous
        .unwrap_or_default()
        .iter()
        .filter_map(|row| Some((&*row.county_id, row.figures()?.median_pressure)))
        .collect();
    let numbers = display_numbers(bulletin.region);
    let mut rows: Vec<_> = bulletin
        .rows
        .iter()
        .map(|row| TableRow {
            county: summary.name(&row.county_id),
            number: numbers.get(&*row.county_id).copied().unwrap_or_default(),
            at_threshold: row.figures().is_some_and(|f| f.fields_at_threshold > 0),
            cells: cells(row, before.get(&*row.county_id).copied()),
        })
        .collect();
    rows.sort_by(|one, other| one.county.cmp(&other.county));
    rows
}

fn cells(row: &CountyWeek, before: Option<f64>) -> Cells {
    let outside_stage = row.fields_outside_stage.unwrap_or_default();
    let pressure = |value| Sortable {
        shown: display_number(value, Form::Pressure),
        value,
    };
    match row.figures() {
        Some(figures) => Cells::Figures(Box::new(FigureCells {
            visited: figures.fields_visited,
            at_threshold: figures.fields_at_threshold,
            share: Sortable {
                shown: share_in_words(&figures),
                value: figures.share_at_threshold,
            },
            interval: interval_in_words(&figures, "–"),
            median: pressure(figures.median_pressure),
            before: before.map(pressure),
            highest: pressure(figures.max_pressure),
            due: days_of_county(row)
                .zip(row.window_opens)
                .map(|(shown, opens)| Sortable {
                    shown,
                    value: day_number(opens),
                }),
            outside_stage,
        })),
        None if row.cell() == Cell::Suppressed => Cells::TooFewFields,
        None => Cells::OutsideStage(outside_stage),
    }
}
