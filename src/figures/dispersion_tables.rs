//! The tables of a season's dispersion, with what their columns mean: their layout. What is in them is computed in
//! `dispersion.rs`.

use std::sync::Arc;

use arrow::array::{ArrayRef, Float64Array, Int32Array, Int64Array, StringArray};

use super::described_table::{DescribedTable, described};
use super::dispersion::{
    CountyFigures, SeasonLaw, StandingVisit, county_seasons, names_of_counties, season_laws,
    standing_visits,
};
use scouting::failure::Failure;
use stats::counts::aggregation::FittedK;
use stats::counts::power_law::PowerLaw;
use store::delta::snapshot::Snapshot;
use store::stages::computed::unit_totals::unit_totals;
use store::stages::rollup::Rollup;

/// In the form of a stage's header.
const COUNTY_SEASON: &str = "\
county_id         text    not null  id of the county
county_name       text    not null  name of the county; its id where the region lacks it
season            int     not null  ISO week-year
protocol          text    not null  id of the protocol
fields            bigint  not null  [{field}] fields with a visit within the stage window; these alone are in the row
visits            bigint  not null  [{visit}] visits that k is based on: two units or more, something counted, no catches a night
units             bigint  not null  [{unit}] their units
k                 double  null      [1] exponent k of the negative binomial of the units' totals, by maximum likelihood, common to the visits, each with its own mean; small where the pest is clumped; no standard error, since units of a site resemble each other
k_undefined       text    null      why there is no k: too-few-units, nothing-counted, not-aggregated (no more variance than by chance), poisson-limit (hardly more), rates (catches a night)";

const POWER_LAW: &str = "\
season              int     not null  ISO week-year
protocol            text    not null  id of the protocol
samples             text    not null  units: mean and variance of the totals of a visit's units; site-means: of the means of its sites
a                   double  null      Taylor's a: variance of a typical sample at a mean of 1; it depends on the size of a sample; null for fewer than three visits or equal means
a_of_mean_variance  double  null      the a that gives the mean variance of many samples; to foretell variances with
b                   double  null      [1] Taylor's b: 1 for chance, above it where the pest is clumped
b_standard_error    double  null      [1] standard error of b
r_squared           double  null      [1] share of the variance of the logarithms that the law explains
visits              bigint  not null  [{visit}] visits with a mean and a variance above 0
visits_left_out     bigint  not null  [{visit}] the other visits";

const VISIT: &str = "\
visit_id          text    not null  the reference visit of its field in its week
season            int     not null  ISO week-year
iso_week          text    not null  ISO 8601 week, as 2026-W30
protocol          text    not null  id of the protocol
units             bigint  null      [{unit}] units examined; null for catches a night
mean              double  null      mean of the totals of its units
variance          double  null      variance of these totals; null for one unit
k                 double  null      [1] exponent k of the negative binomial of these totals, by maximum likelihood; no standard error, since units of a site resemble each other
k_undefined       text    null      why there is no k: too-few-units, nothing-counted, not-aggregated, poisson-limit, rates";

/// The tables of a season's dispersion, all private.
#[derive(Debug, Clone)]
pub struct Dispersion {
    /// One row per county, season and protocol.
    pub county_season: DescribedTable,
    /// One row per season, protocol and kind of sample.
    pub power_law: DescribedTable,
    /// One row per reference visit within the stage window.
    pub visit: DescribedTable,
}

/// The dispersion of every season, or of one, at the version that was rolled up.
///
/// # Errors
/// A [`Failure`] if the store cannot be read.
pub async fn season_dispersion(
    snapshot: &Snapshot,
    rollup: &Rollup,
    season: Option<i32>,
) -> Result<Dispersion, Failure> {
    let totals = unit_totals(snapshot).await?;
    let counties = names_of_counties(&rollup.county_week_full().batch, season)?;
    let visits = standing_visits(&rollup.field_week().batch, &totals, season)?;
    Ok(Dispersion {
        county_season: county_season_table(&county_seasons(&counties, &visits))?,
        power_law: power_law_table(&season_laws(&visits))?,
        visit: visit_table(&visits)?,
    })
}

fn text<'a>(values: impl Iterator<Item = &'a str>) -> ArrayRef {
    Arc::new(values.map(Some).collect::<StringArray>())
}

fn words<'a>(values: impl Iterator<Item = Option<&'a str>>) -> ArrayRef {
    Arc::new(values.collect::<StringArray>())
}

fn years(values: impl Iterator<Item = i32>) -> ArrayRef {
    Arc::new(values.map(Some).collect::<Int32Array>())
}

fn numbers(values: impl Iterator<Item = Option<f64>>) -> ArrayRef {
    Arc::new(values.collect::<Float64Array>())
}

/// No count of rows comes near the end of 63 bits.
fn counts(values: impl Iterator<Item = Option<u64>>) -> ArrayRef {
    let values = values.map(|value| value.map(|value| value as i64));
    Arc::new(values.collect::<Int64Array>())
}

/// k, and why there is none. Its standard error takes units for independent, which those of a site are not
/// (`tests/benches/INTERVALS.md`), so it is not given.
fn columns_of_k(fitted: &[Result<FittedK, &'static str>]) -> [ArrayRef; 2] {
    let k = |of: &Result<FittedK, _>| of.ok();
    [
        numbers(fitted.iter().map(|of| Some(k(of)?.k))),
        words(fitted.iter().map(|of| of.err())),
    ]
}

/// `county_season_dispersion`: one row per county, season and protocol.
fn county_season_table(rows: &[CountyFigures<'_>]) -> Result<DescribedTable, Failure> {
    let count =
        |of: fn(&CountyFigures<'_>) -> u64| counts(rows.iter().map(move |row| Some(of(row))));
    let fitted: Vec<_> = rows.iter().map(|row| row.k).collect();
    let [k, undefined] = columns_of_k(&fitted);
    described(
        "county_season_dispersion",
        COUNTY_SEASON,
        vec![
            text(rows.iter().map(|row| row.county.0)),
            text(rows.iter().map(|row| row.county_name)),
            years(rows.iter().map(|row| row.county.1)),
            text(rows.iter().map(|row| row.county.2)),
            count(|row| row.fields),
            count(|row| row.visits),
            count(|row| row.units),
            k,
            undefined,
        ],
    )
}

/// `season_power_law`: two rows per season and protocol.
fn power_law_table(rows: &[SeasonLaw<'_>]) -> Result<DescribedTable, Failure> {
    let of_law =
        |of: fn(PowerLaw) -> Option<f64>| numbers(rows.iter().map(move |row| row.law.and_then(of)));
    described(
        "season_power_law",
        POWER_LAW,
        vec![
            years(rows.iter().map(|row| row.season)),
            text(rows.iter().map(|row| row.protocol)),
            text(rows.iter().map(|row| row.samples)),
            of_law(|law| Some(law.a)),
            of_law(|law| Some(law.a_of_mean_variance)),
            of_law(|law| Some(law.b)),
            of_law(|law| Some(law.b_standard_error)),
            of_law(|law| law.r_squared),
            counts(rows.iter().map(|row| Some(row.visits))),
            counts(rows.iter().map(|row| Some(row.visits_left_out))),
        ],
    )
}

/// `visit_dispersion`: one row per standing visit within the stage window.
fn visit_table(rows: &[StandingVisit<'_>]) -> Result<DescribedTable, Failure> {
    let fitted: Vec<_> = rows.iter().map(StandingVisit::own_k).collect();
    let [k, undefined] = columns_of_k(&fitted);
    described(
        "visit_dispersion",
        VISIT,
        vec![
            text(rows.iter().map(|visit| visit.visit_id)),
            years(rows.iter().map(|visit| visit.season)),
            text(rows.iter().map(|visit| visit.iso_week)),
            text(rows.iter().map(|visit| visit.protocol)),
            counts(rows.iter().map(|visit| Some(visit.counts?.units()))),
            numbers(rows.iter().map(|visit| visit.counts?.mean())),
            numbers(rows.iter().map(|visit| visit.counts?.variance())),
            k,
            undefined,
        ],
    )
}
