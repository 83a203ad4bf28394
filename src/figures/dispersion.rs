//! The dispersion of a season's counts: k of the negative binomial for each county and each visit, and Taylor's
//! power law for each protocol.
//!
//! A roll-up does without: it reads every unit of the store, which the stages never do. The fits are in
//! `stats`, the tables and what their columns mean in `dispersion_tables.rs`.
//!
//! Private as a whole: it is based on every county-week, those that are too small for a public row too. The catch of a
//! trap that was out some nights is a rate and no whole number, so such visits have no k and no variance of units.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use arrow::array::RecordBatch;
use serde::Deserialize;

use scouting::failure::Failure;
use stats::counts::aggregation::{FittedK, UndefinedK, fit_common_k, fit_k};
use stats::counts::frequencies::CountFrequencies;
use stats::counts::power_law::{MeanVariance, PowerLaw, fit_power_law};
use store::stages::computed::unit_totals::UnitTotals;
use store::stages::stage_rows::rows_of;

/// A standing visit within the stage window.
pub(super) struct StandingVisit<'a> {
    pub(super) visit_id: &'a str,
    field_id: &'a str,
    county_id: &'a str,
    pub(super) season: i32,
    pub(super) iso_week: &'a str,
    pub(super) protocol: &'a str,
    /// Mean and variance of the means of its sites; `None` with one site.
    sites: Option<MeanVariance>,
    /// The totals of its units; `None` where they are rates.
    pub(super) counts: Option<&'a CountFrequencies>,
}

impl StandingVisit<'_> {
    /// Mean and variance of the totals of its units; `None` for rates and for a single unit.
    pub(super) fn units(&self) -> Option<MeanVariance> {
        let counts = self.counts?;
        Some(MeanVariance {
            mean: counts.mean()?,
            variance: counts.variance()?,
        })
    }

    /// Whether it says anything about k: two units or more, and something counted.
    fn tells_of_k(&self) -> bool {
        self.units().is_some_and(|units| units.mean > 0.0)
    }

    /// Its own k, or the word for why it has none.
    pub(super) fn own_k(&self) -> Result<FittedK, &'static str> {
        self.counts
            .ok_or(RATES)
            .and_then(|counts| fit_k(counts).map_err(word_of))
    }
}

/// Why there is no k: the units are catches a night.
const RATES: &str = "rates";

fn word_of(reason: UndefinedK) -> &'static str {
    match reason {
        UndefinedK::TooFewUnits => "too-few-units",
        UndefinedK::NothingCounted => "nothing-counted",
        UndefinedK::NotAggregated => "not-aggregated",
        UndefinedK::PoissonLimit => "poisson-limit",
    }
}

/// County, season and protocol.
type CountySeason<'a> = (&'a str, i32, &'a str);

/// A row of `county_week_full` as far as it names a county's season.
#[derive(Deserialize)]
struct CountyWeekRow<'a> {
    county_id: &'a str,
    county_name: &'a str,
    season: i32,
    protocol: &'a str,
}

/// The counties and seasons with a visit under a protocol, within the stage window or not, and the counties' names.
pub(super) fn names_of_counties(
    county_week: &RecordBatch,
    season: Option<i32>,
) -> Result<BTreeMap<CountySeason<'_>, &str>, Failure> {
    let rows = rows_of::<CountyWeekRow<'_>>(county_week, "county_week_full")?.into_iter();
    let rows = rows.filter(|row| season.is_none_or(|wanted| wanted == row.season));
    Ok(rows
        .map(|row| ((row.county_id, row.season, row.protocol), row.county_name))
        .collect())
}

/// A row of `field_week` as far as dispersion needs it.
#[derive(Deserialize)]
struct FieldWeekRow<'a> {
    visit_id: &'a str,
    field_id: &'a str,
    county_id: &'a str,
    season: i32,
    iso_week: &'a str,
    protocol: &'a str,
    in_window: bool,
    after_treatment: bool,
    field_mean: f64,
    variance_between_sites: Option<f64>,
}

/// The standing visits within the stage window that follow no treatment, in the order of their ids: the last digits of a common k
/// hang on the order of its sums.
pub(super) fn standing_visits<'a>(
    field_week: &'a RecordBatch,
    totals: &'a HashMap<String, UnitTotals>,
    season: Option<i32>,
) -> Result<Vec<StandingVisit<'a>>, Failure> {
    let rows = rows_of::<FieldWeekRow<'_>>(field_week, "field_week")?.into_iter();
    let mut visits: Vec<StandingVisit<'_>> = rows
        .filter(|row| row.in_window && !row.after_treatment)
        .filter(|row| season.is_none_or(|wanted| wanted == row.season))
        .map(|row| StandingVisit {
            visit_id: row.visit_id,
            field_id: row.field_id,
            county_id: row.county_id,
            season: row.season,
            iso_week: row.iso_week,
            protocol: row.protocol,
            sites: row.variance_between_sites.map(|variance| MeanVariance {
                mean: row.field_mean,
                variance,
            }),
            counts: totals
                .get(row.visit_id)
                .filter(|units| !units.with_nights)
                .map(|units| &units.counts),
        })
        .collect();
    visits.sort_by_key(|visit| visit.visit_id);
    Ok(visits)
}

/// The sums of a county's season.
pub(super) struct CountyFigures<'a> {
    pub(super) county: CountySeason<'a>,
    pub(super) county_name: &'a str,
    pub(super) fields: u64,
    /// Visits that k is based on.
    pub(super) visits: u64,
    /// Their units.
    pub(super) units: u64,
    pub(super) k: Result<FittedK, &'static str>,
}

pub(super) fn county_seasons<'a>(
    counties: &BTreeMap<CountySeason<'a>, &'a str>,
    visits: &[StandingVisit<'_>],
) -> Vec<CountyFigures<'a>> {
    let mut groups: BTreeMap<CountySeason<'_>, Vec<&StandingVisit<'_>>> = BTreeMap::new();
    for visit in visits {
        let county = (visit.county_id, visit.season, visit.protocol);
        groups.entry(county).or_default().push(visit);
    }
    let figures = counties.iter().map(|(county, county_name)| {
        let visits = groups.get(county).map_or(&[][..], Vec::as_slice);
        let telling = visits.iter().filter(|visit| visit.tells_of_k());
        let units = telling.clone().filter_map(|visit| visit.counts);
        CountyFigures {
            county: *county,
            county_name,
            fields: count_fields(visits),
            visits: telling.count() as u64,
            units: units.map(CountFrequencies::units).sum(),
            k: common_k(visits),
        }
    });
    figures.collect()
}

/// The k of all visits that have one in common, each with its own mean.
fn common_k(visits: &[&StandingVisit<'_>]) -> Result<FittedK, &'static str> {
    let counts = visits.iter().filter_map(|visit| visit.counts);
    let counts: Vec<CountFrequencies> = counts.cloned().collect();
    match counts.is_empty() && !visits.is_empty() {
        true => Err(RATES),
        false => fit_common_k(&counts).map_err(word_of),
    }
}

fn count_fields(visits: &[&StandingVisit<'_>]) -> u64 {
    let fields: BTreeSet<&str> = visits.iter().map(|visit| visit.field_id).collect();
    fields.len() as u64
}

/// Taylor's law of one kind of sample over the visits of a season.
pub(super) struct SeasonLaw<'a> {
    pub(super) season: i32,
    pub(super) protocol: &'a str,
    /// `units` or `site-means`.
    pub(super) samples: &'static str,
    /// `None` for fewer than three visits with a mean and a variance above 0, or if their means are equal.
    pub(super) law: Option<PowerLaw>,
    /// Visits with a mean and a variance above 0.
    pub(super) visits: u64,
    /// The others.
    pub(super) visits_left_out: u64,
}

pub(super) fn season_laws<'a>(visits: &[StandingVisit<'a>]) -> Vec<SeasonLaw<'a>> {
    let mut groups: BTreeMap<(i32, &str), Vec<&StandingVisit<'a>>> = BTreeMap::new();
    for visit in visits {
        let group = groups.entry((visit.season, visit.protocol)).or_default();
        group.push(visit);
    }
    let mut laws = Vec::new();
    for ((season, protocol), visits) in groups {
        let units = visits.iter().map(|visit| visit.units());
        let sites = visits.iter().map(|visit| visit.sites);
        let kinds: [(&str, Vec<Option<MeanVariance>>); 2] =
            [("site-means", sites.collect()), ("units", units.collect())];
        laws.extend(kinds.into_iter().map(|(samples, of_visits)| {
            let usable: Vec<MeanVariance> = of_visits
                .iter()
                .flatten()
                .copied()
                .filter(MeanVariance::has_logarithms)
                .collect();
            SeasonLaw {
                season,
                protocol,
                samples,
                law: fit_power_law(&usable),
                visits: usable.len() as u64,
                visits_left_out: (of_visits.len() - usable.len()) as u64,
            }
        }));
    }
    laws
}
