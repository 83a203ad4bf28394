//! Visits and field-weeks without what leads back to a field: for a researcher who must not know whose it was.
//!
//! Private all the same: a row is a single field, so a package of these rows goes only to somebody who agreed to terms.
//! A row says in which cell of the grid of published points the field is, or only in which county, and
//! what was found, rounded. Which place it may say is decided in `grid_groups.rs`; what is left out of it, and
//! why, is listed here:
//!
//! - ids of fields, farms, scouts and visits, points, outlines, notes and days: they are names, or as good;
//! - area, crop type, crop stage, and how many sites were sampled beyond what the protocol asks: whoever drives
//!   by can see them, or, as sites follow a field's sides, can infer its size from them;
//! - costs, prices, plant populations and so the threshold: a grower or dealer knows them. The pressure is shown by its
//!   class, since with the mean it would give the threshold away; and no public row has an exact pressure, from which
//!   those of its fields could be recognized. Nor is it said whether the interval of the mean covers the threshold: in the
//!   invented season of the sample data that gave 33 of 193 thresholds to within a factor of 1.5, and the classes alone none.
//!
//! Whoever drives by or deals with the farm may know that a field was treated, so nothing says it: fields that were treated,
//! and visits after a treatment, are left out.
//!
//! A row bears a number that means nothing: its place in an order by a hash of what the package shows, so it
//! changes with every store version and every other choice of rows.

use std::collections::HashMap;
use std::sync::Arc;

use arrow::array::{ArrayRef, BooleanArray, Float64Array, Int32Array, RecordBatch, StringArray};
use serde::Deserialize;
use sha2::{Digest, Sha256};

use super::grid_groups::{CellOfWidth, FieldWeek, Placed, Smallest, placed};
use crate::figures::described_table::{DescribedTable, described};
use disclosure::median_class::class_bounds;
use disclosure::rule::{Level, Rule};
use scouting::failure::Failure;
use scouting::region::point_grid::GridWidth;
use store::public::public_rows::seasons_with_farms;
use store::stages::files::{StageColumn, columns_of};
use store::stages::rollup::Rollup;
use store::stages::stage_rows::rows_of;

/// One row per field and week, in the form of a stage's header.
const FIELD_WEEK: &str = "\
row             int     not null  number of the row in this package; it means nothing and is another in every other package
season          int     not null  ISO week-year
iso_week        text    not null  ISO 8601 week, as 2026-W30; the day is not given
protocol        text    not null  id of the protocol
county_id       text    not null  county of the field
cell            text    null      row and column of the grid's cell, as r482c1093; null where only the county is given
cell_lon        double  null      [deg] longitude of the cell's middle, WGS 84
cell_lat        double  null      [deg] latitude of the cell's middle, WGS 84
grid_km         double  null      [km] height and about the width of the cell: that of the grid, or a wider one of 10, 20 or 40 where too few fields are in one
in_window       boolean not null  whether the crop stage is in the protocol's stage window
field_mean      double  not null  mean of the site means, two significant digits
standard_error  double  null      its standard error, two significant digits; null if there is one site
nothing_found   boolean not null  whether nothing was counted
pressure_from   double  not null  [1] lower bound of the class of field_mean / threshold, included; 1 = at threshold
pressure_below  double  null      [1] upper bound of the class, not included; null for the highest class and for nothing found";

/// One row per visit of these.
const VISIT: &str = "\
row             int     not null  number of the row in this package; it means nothing and is another in every other package
field_week      int     not null  row of field_week: the field and week that it is a visit of
is_reference    boolean not null  whether it is the reference visit of its field in its week
season          int     not null  ISO week-year
iso_week        text    not null  ISO 8601 week, as 2026-W30; the day is not given
protocol        text    not null  id of the protocol
county_id       text    not null  county of the field
cell            text    null      row and column of the grid's cell, as r482c1093; null where only the county is given
cell_lon        double  null      [deg] longitude of the cell's middle, WGS 84
cell_lat        double  null      [deg] latitude of the cell's middle, WGS 84
grid_km         double  null      [km] height and about the width of the cell: that of the grid, or a wider one of 10, 20 or 40 where too few fields are in one
sites           int     not null  [{site}] sites sampled; counted up to the smallest full sample of the protocol, as more would give away the size of the field
field_mean      double  not null  mean of the site means, two significant digits
standard_error  double  null      its standard error, two significant digits; null if there is one site";

/// So little below a bound counts as at it.
const NOISE: f64 = 1e-12;

/// The tables, and how much of what was looked at is in them.
#[derive(Debug, Clone)]
pub(crate) struct GridRows {
    /// One row per field and week.
    pub field_week: DescribedTable,
    /// One row per visit.
    pub visit: DescribedTable,
    /// Field-weeks that show their county alone, since their cell held too few.
    pub by_county_alone: usize,
    /// Field-weeks outside the stage window that are left out, of counties and weeks of which others are there: too
    /// few in their county and week.
    pub held_back_outside: usize,
}

/// The columns of the two tables: what a file of this kind may hold.
///
/// # Errors
/// A [`Failure`] if they are not in their form.
pub(crate) fn grid_columns() -> Result<[(&'static str, Vec<StageColumn>); 2], Failure> {
    Ok([
        ("field_week", columns_of("field_week", FIELD_WEEK)?),
        ("visit", columns_of("visit", VISIT)?),
    ])
}

/// The rows of `visits` (the table `visit` of what is taken home, of the seasons that are wanted) that may be
/// released. `narrowest` is the width of the cells that are tried first; `sites_min` gives the smallest full sample of
/// a protocol.
///
/// # Errors
/// A [`Failure`] if a table lacks a column.
pub(crate) fn grid_rows(
    visits: &RecordBatch,
    rollup: &Rollup,
    rule: &Rule,
    narrowest: GridWidth,
    sites_min: impl Fn(&str) -> i32,
) -> Result<GridRows, Failure> {
    let visits: Vec<VisitRow<'_>> = rows_of(visits, "visit")?;
    let field_rows: Vec<FieldWeekRow<'_>> = rows_of(&rollup.field_week().batch, "field_week")?;
    let weeks = field_weeks(&field_rows, &visits);
    let smallest = Smallest {
        rule: *rule,
        seasons_with_farms: seasons_with_farms(
            field_rows.iter().map(|row| (row.season, row.farm_id)),
        ),
        narrowest,
    };
    let (shown, held_back_outside) = placed(&weeks, &smallest);
    let shown_visits = shown_visits(&visits, &shown, sites_min);
    // With its visits: so rows that look the same here look the same there.
    let mut shown_texts: Vec<Vec<String>> = shown
        .iter()
        .map(|(week, cell)| vec![text_of(week, cell)])
        .collect();
    for visit in &shown_visits {
        shown_texts[visit.week].push(visit.text());
    }
    shown_texts
        .iter_mut()
        .for_each(|texts| texts[1..].sort_unstable());
    let shown_texts: Vec<String> = shown_texts.iter().map(|texts| texts.join("\n")).collect();
    let key = key_of(rollup.store_version, &shown_texts);
    let numbers = numbers_of(&key, shown_texts.into_iter());
    let mut in_order: Vec<usize> = (0..shown.len()).collect();
    in_order.sort_by_key(|row| numbers[*row]);
    Ok(GridRows {
        by_county_alone: shown.iter().filter(|(_, cell)| cell.is_none()).count(),
        held_back_outside,
        field_week: field_week_table(&shown, &numbers, &in_order)?,
        visit: visit_table(&shown, &shown_visits, &numbers, &key)?,
    })
}

/// A row of the table `visit` as far as it may be shown.
#[derive(Deserialize)]
struct VisitRow<'a> {
    visit_id: &'a str,
    field_id: &'a str,
    iso_week: &'a str,
    protocol: &'a str,
    lon: Option<f64>,
    lat: Option<f64>,
    sites: i32,
    field_mean: f64,
    standard_error: Option<f64>,
    /// `None` of a visit that is in no field-week.
    threshold: Option<f64>,
    after_treatment: Option<bool>,
    is_reference: bool,
}

/// A row of the roll-up's `field_week` as far as it may be shown.
#[derive(Deserialize)]
struct FieldWeekRow<'a> {
    visit_id: &'a str,
    field_id: &'a str,
    farm_id: Option<&'a str>,
    county_id: &'a str,
    iso_week: &'a str,
    protocol: &'a str,
    season: i32,
    in_window: bool,
    after_treatment: bool,
    field_mean: f64,
    standard_error: Option<f64>,
    pressure: f64,
}

/// The field-weeks whose visits are there and whose field was not treated, with the point of the visit that counts.
fn field_weeks<'a>(rows: &[FieldWeekRow<'a>], visits: &[VisitRow<'a>]) -> Vec<FieldWeek<'a>> {
    let by_id: HashMap<&str, &VisitRow<'_>> =
        visits.iter().map(|visit| (visit.visit_id, visit)).collect();
    let counted = |row: &&FieldWeekRow<'_>| !(row.in_window && row.after_treatment);
    let weeks = rows.iter().filter(counted).filter_map(|row| {
        let visit = by_id.get(row.visit_id)?;
        Some(FieldWeek {
            field_id: row.field_id,
            farm_id: row.farm_id,
            county_id: row.county_id,
            iso_week: row.iso_week,
            protocol: row.protocol,
            season: row.season,
            in_window: row.in_window,
            point: visit.lon.zip(visit.lat),
            field_mean: row.field_mean,
            standard_error: row.standard_error,
            pressure: row.pressure,
        })
    });
    weeks.collect()
}

/// Two significant digits: what was counted, and no fingerprint. 0 stays 0 and nothing else becomes it.
fn two_digits(value: f64) -> f64 {
    format!("{value:.1e}")
        .parse()
        .expect("a number reads back as it was written")
}

/// The class of a pressure, of those of the median at the level `survey`: nothing found, lower and upper bound.
fn class_of(week: &FieldWeek) -> (bool, f64, Option<f64>) {
    if week.pressure == 0.0 {
        return (true, 0.0, None);
    }
    let bounds = class_bounds(false, Level::Survey);
    let reached = |bound: &f64| week.pressure + NOISE >= *bound;
    let place = bounds.iter().rposition(reached).unwrap_or_default();
    (false, bounds[place], bounds.get(place + 1).copied())
}

/// All that the package shows of a field-week, as one text.
fn text_of(week: &FieldWeek, cell: &Option<CellOfWidth>) -> String {
    let cell = cell.as_ref().map(|of| (&of.cell.id, of.width.km()));
    let figures = (
        two_digits(week.field_mean),
        week.standard_error.map(two_digits),
        class_of(week),
    );
    format!(
        "{} {} {} {cell:?} {} {figures:?}",
        week.iso_week, week.protocol, week.county_id, week.in_window
    )
}

/// Of the store version and of everything that is shown: known to whoever has the package, and to nobody else.
fn key_of(version: i64, shown_texts: &[String]) -> Vec<u8> {
    let mut shown_texts: Vec<&str> = shown_texts.iter().map(String::as_str).collect();
    shown_texts.sort_unstable();
    Sha256::digest(format!("{version}\n{}", shown_texts.join("\n"))).to_vec()
}

/// A number from 1 on for each row: its place in the order of the hashes of the key and the row's own text.
/// Nothing distinguishes rows with the same text, so any of them may come first.
fn numbers_of(key: &[u8], rows: impl Iterator<Item = String>) -> Vec<i32> {
    let mut hashes: Vec<(Vec<u8>, usize)> = rows
        .enumerate()
        .map(|(row, text)| {
            (
                Sha256::digest([key, text.as_bytes()].concat()).to_vec(),
                row,
            )
        })
        .collect();
    hashes.sort_unstable();
    let mut numbers = vec![0; hashes.len()];
    for (number, (_, row)) in (1..).zip(hashes) {
        numbers[row] = number;
    }
    numbers
}

fn whole(values: impl Iterator<Item = i32>) -> ArrayRef {
    Arc::new(values.map(Some).collect::<Int32Array>())
}

fn words<'a>(values: impl Iterator<Item = Option<&'a str>>) -> ArrayRef {
    Arc::new(values.collect::<StringArray>())
}

fn doubles(values: impl Iterator<Item = Option<f64>>) -> ArrayRef {
    Arc::new(values.collect::<Float64Array>())
}

fn truths(values: impl Iterator<Item = Option<bool>>) -> ArrayRef {
    Arc::new(values.collect::<BooleanArray>())
}

/// Season, week, protocol, county and cell of rows: what both tables say of when and where.
fn when_and_where<'a>(rows: impl Iterator<Item = &'a Placed<'a>> + Clone) -> [ArrayRef; 8] {
    let rows = || rows.clone();
    let cell = |row: &'a Placed<'a>| row.1.as_ref();
    [
        whole(rows().map(|(week, _)| week.season)),
        words(rows().map(|(week, _)| Some(week.iso_week))),
        words(rows().map(|(week, _)| Some(week.protocol))),
        words(rows().map(|(week, _)| Some(week.county_id))),
        words(rows().map(|row| Some(cell(row)?.cell.id.as_str()))),
        doubles(rows().map(|row| Some(cell(row)?.cell.lon))),
        doubles(rows().map(|row| Some(cell(row)?.cell.lat))),
        doubles(rows().map(|row| Some(cell(row)?.width.km()))),
    ]
}

fn field_week_table(
    shown: &[Placed],
    numbers: &[i32],
    in_order: &[usize],
) -> Result<DescribedTable, Failure> {
    let rows = || in_order.iter().map(|row| &shown[*row]);
    let mut columns = vec![whole(in_order.iter().map(|row| numbers[*row]))];
    columns.extend(when_and_where(rows()));
    let weeks = || rows().map(|(week, _)| week);
    columns.extend([
        truths(weeks().map(|week| Some(week.in_window))),
        doubles(weeks().map(|week| Some(two_digits(week.field_mean)))),
        doubles(weeks().map(|week| week.standard_error.map(two_digits))),
        truths(weeks().map(|week| Some(class_of(week).0))),
        doubles(weeks().map(|week| Some(class_of(week).1))),
        doubles(weeks().map(|week| class_of(week).2)),
    ]);
    described("field_week", FIELD_WEEK, columns)
}

/// A visit that is shown, with the row of its field-week.
struct ShownVisit {
    week: usize,
    is_reference: bool,
    sites: i32,
    mean: f64,
    error: Option<f64>,
}

impl ShownVisit {
    /// All that the package shows of it in addition to its field-week, as one text.
    fn text(&self) -> String {
        format!(
            "{} {} {} {:?}",
            self.is_reference, self.sites, self.mean, self.error
        )
    }
}

/// The visits of the field-weeks that are shown.
fn shown_visits(
    visits: &[VisitRow<'_>],
    shown: &[Placed],
    sites_min: impl Fn(&str) -> i32,
) -> Vec<ShownVisit> {
    let weeks = shown.iter().enumerate();
    let week_of: HashMap<(&str, &str, &str), usize> = weeks
        .map(|(row, (week, _))| ((week.field_id, week.iso_week, week.protocol), row))
        .collect();
    // A visit after a treatment is there only as the reference visit of a field outside the stage window.
    let rows = visits.iter().filter(|visit| {
        visit.threshold.is_some() && (visit.is_reference || visit.after_treatment != Some(true))
    });
    let rows = rows.filter_map(|visit| {
        Some(ShownVisit {
            week: *week_of.get(&(visit.field_id, visit.iso_week, visit.protocol))?,
            is_reference: visit.is_reference,
            sites: visit.sites.min(sites_min(visit.protocol)),
            mean: two_digits(visit.field_mean),
            error: visit.standard_error.map(two_digits),
        })
    });
    rows.collect()
}

fn visit_table(
    shown: &[Placed],
    visits: &[ShownVisit],
    numbers_of_weeks: &[i32],
    key: &[u8],
) -> Result<DescribedTable, Failure> {
    let number_of_week = |visit: &ShownVisit| numbers_of_weeks[visit.week];
    let shown_texts = visits
        .iter()
        .map(|visit| format!("{} {}", number_of_week(visit), visit.text()));
    let numbers = numbers_of(key, shown_texts);
    let mut in_order: Vec<usize> = (0..visits.len()).collect();
    in_order.sort_by_key(|row| numbers[*row]);
    let ordered = || in_order.iter().map(|row| &visits[*row]);
    let mut columns = vec![
        whole(in_order.iter().map(|row| numbers[*row])),
        whole(ordered().map(number_of_week)),
        truths(ordered().map(|visit| Some(visit.is_reference))),
    ];
    columns.extend(when_and_where(ordered().map(|visit| &shown[visit.week])));
    columns.extend([
        whole(ordered().map(|visit| visit.sites)),
        doubles(ordered().map(|visit| Some(visit.mean))),
        doubles(ordered().map(|visit| visit.error)),
    ]);
    described("visit", VISIT, columns)
}
