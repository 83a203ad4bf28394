//! How a season's counts scatter: k of the negative binomial for each county and each visit, and Taylor's
//! power law for each protocol.
//!
//! A roll-up does without: it reads every unit of the store, which the stages never do. The fits stand in
//! `crate::statistics`, the tables and what their columns mean in `dispersion_tables.rs`.
//!
//! What may be published rests on the visits of county-weeks that are shown and on no others, so that no
//! comparison of a season with its weeks says anything of a week that is suppressed. The table of visits is
//! private and holds them all. The catch of a trap that stood some nights is judged as a rate, not as a whole
//! number, so such visits have no k and no variance of units.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use arrow::array::{Array, AsArray, RecordBatch};
use arrow::datatypes::{Float64Type, Int32Type};

use super::dispersion_tables::{county_season_table, power_law_table, visit_table};
use super::run::Rollup;
use super::stages::StageColumn;
use super::unit_totals::{UnitTotals, unit_totals};
use crate::failure::Failure;
use crate::statistics::aggregation::{FittedK, UndefinedK, fit_common_k, fit_k};
use crate::statistics::counts::CountFrequencies;
use crate::statistics::power_law::{MeanVariance, PowerLaw, fit_power_law};
use crate::store::snapshot::Snapshot;

/// The tables of a season's scatter.
#[derive(Debug, Clone)]
pub struct Dispersion {
    /// May be published: one row a county, season and protocol.
    pub county_season: DescribedTable,
    /// May be published: one row a season, protocol and kind of sample.
    pub power_law: DescribedTable,
    /// Private: one row a standing visit within the stage window.
    pub visit: DescribedTable,
}

/// A table with what its columns mean.
#[derive(Debug, Clone)]
pub struct DescribedTable {
    /// The columns, in order.
    pub columns: Vec<StageColumn>,
    /// The rows, in the order of what identifies them.
    pub batch: RecordBatch,
}

/// The smallest group whose figures may be seen.
#[derive(Debug, Clone, Copy)]
pub struct SmallestGroup {
    /// Fewest fields.
    pub fields: u32,
    /// Fewest farms, where farms are given.
    pub farms: u32,
}

/// The scatter of every season, or of one, at the version that was rolled up.
///
/// # Errors
/// A [`Failure`] if the store cannot be read.
pub async fn season_dispersion(
    snapshot: &Snapshot,
    rollup: &Rollup,
    smallest: SmallestGroup,
    season: Option<i32>,
) -> Result<Dispersion, Failure> {
    let totals = unit_totals(snapshot).await?;
    let counties = CountyWeeks::of(&rollup.county_week().batch, season);
    let visits = standing_visits(&rollup.field_week().batch, &totals, &counties, season);
    Ok(Dispersion {
        county_season: county_season_table(&county_seasons(&counties, &visits, smallest))?,
        power_law: power_law_table(&season_laws(&visits))?,
        visit: visit_table(&visits)?,
    })
}

/// A standing visit within the stage window.
pub(super) struct StandingVisit<'a> {
    pub(super) visit_id: &'a str,
    field_id: &'a str,
    farm_id: Option<&'a str>,
    county_id: &'a str,
    pub(super) season: i32,
    pub(super) iso_week: &'a str,
    pub(super) protocol: &'a str,
    /// Mean and variance of the means of its sites; `None` with one site.
    sites: Option<MeanVariance>,
    /// The totals of its units; `None` where they are rates.
    pub(super) counts: Option<&'a CountFrequencies>,
    /// Whether its county-week is shown.
    shown: bool,
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

    /// Whether it tells anything of k: two units or more, and something counted.
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
/// Why there is no k: it would rest on fewer fields or farms than may be told.
const TOO_FEW_FIELDS: &str = "too-few-fields";

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

/// Which county-weeks are shown.
struct CountyWeeks<'a> {
    /// County, week and protocol of those that are.
    shown: BTreeSet<(&'a str, &'a str, &'a str)>,
    /// Of each county and season the county's name, and whether any of its weeks is shown.
    seasons: BTreeMap<CountySeason<'a>, (&'a str, bool)>,
}

impl<'a> CountyWeeks<'a> {
    fn of(county_week: &'a RecordBatch, season: Option<i32>) -> CountyWeeks<'a> {
        let text = |name: &str| county_week[name].as_string::<i32>();
        let (counties, names) = (text("county_id"), text("county_name"));
        let (weeks, protocols) = (text("iso_week"), text("protocol"));
        let seasons = county_week["season"].as_primitive::<Int32Type>();
        let suppressed = county_week["suppressed"].as_boolean();
        let mut found = CountyWeeks {
            shown: BTreeSet::new(),
            seasons: BTreeMap::new(),
        };
        for row in 0..county_week.num_rows() {
            let (county, protocol) = (counties.value(row), protocols.value(row));
            if season.is_some_and(|wanted| wanted != seasons.value(row)) {
                continue;
            }
            let shown = !suppressed.value(row);
            if shown {
                found.shown.insert((county, weeks.value(row), protocol));
            }
            let of_season = (county, seasons.value(row), protocol);
            let entry = found.seasons.entry(of_season);
            entry.or_insert((names.value(row), false)).1 |= shown;
        }
        found
    }
}

/// The standing visits within the stage window, in the order of their ids: the last digits of a common k
/// hang on the order of its sums.
fn standing_visits<'a>(
    field_week: &'a RecordBatch,
    totals: &'a HashMap<String, UnitTotals>,
    counties: &CountyWeeks<'_>,
    season: Option<i32>,
) -> Vec<StandingVisit<'a>> {
    let text = |name: &str| field_week[name].as_string::<i32>();
    let (ids, fields, farms) = (text("visit_id"), text("field_id"), text("farm_id"));
    let (county_ids, weeks, protocols) = (text("county_id"), text("iso_week"), text("protocol"));
    let seasons = field_week["season"].as_primitive::<Int32Type>();
    let in_window = field_week["in_window"].as_boolean();
    let means = field_week["field_mean"].as_primitive::<Float64Type>();
    let variances = field_week["variance_between_sites"].as_primitive::<Float64Type>();
    let mut visits: Vec<StandingVisit<'_>> = (0..field_week.num_rows())
        .filter(|row| in_window.value(*row))
        .filter(|row| season.is_none_or(|wanted| wanted == seasons.value(*row)))
        .map(|row| {
            let (county, week) = (county_ids.value(row), weeks.value(row));
            let protocol = protocols.value(row);
            let units = totals.get(ids.value(row));
            StandingVisit {
                visit_id: ids.value(row),
                field_id: fields.value(row),
                farm_id: farms.is_valid(row).then(|| farms.value(row)),
                county_id: county,
                season: seasons.value(row),
                iso_week: week,
                protocol,
                sites: variances.is_valid(row).then(|| MeanVariance {
                    mean: means.value(row),
                    variance: variances.value(row),
                }),
                counts: units
                    .filter(|units| !units.with_nights)
                    .map(|units| &units.counts),
                shown: counties.shown.contains(&(county, week, protocol)),
            }
        })
        .collect();
    visits.sort_by_key(|visit| visit.visit_id);
    visits
}

/// What a county's season comes to.
pub(super) struct CountyFigures<'a> {
    pub(super) county: CountySeason<'a>,
    pub(super) county_name: &'a str,
    /// `None` where it is suppressed.
    pub(super) shown: Option<SeasonFigures>,
}

/// The figures of a county and season that is shown.
pub(super) struct SeasonFigures {
    pub(super) fields: u64,
    /// Visits and units that k rests on; `None` where they are too few to be told.
    pub(super) visits_and_units: Option<(u64, u64)>,
    pub(super) k: Result<FittedK, &'static str>,
}

fn county_seasons<'a>(
    counties: &CountyWeeks<'a>,
    visits: &[StandingVisit<'_>],
    smallest: SmallestGroup,
) -> Vec<CountyFigures<'a>> {
    let mut groups: BTreeMap<CountySeason<'_>, Vec<&StandingVisit<'_>>> = BTreeMap::new();
    for visit in visits.iter().filter(|visit| visit.shown) {
        let county = (visit.county_id, visit.season, visit.protocol);
        groups.entry(county).or_default().push(visit);
    }
    let seasons = counties.seasons.iter();
    seasons
        .map(|(county, (county_name, any_shown))| {
            let visits = groups.get(county).map_or(&[][..], Vec::as_slice);
            let shown = *any_shown && (visits.is_empty() || enough(visits, smallest));
            CountyFigures {
                county: *county,
                county_name,
                shown: shown.then(|| season_figures(visits, smallest)),
            }
        })
        .collect()
}

fn season_figures(visits: &[&StandingVisit<'_>], smallest: SmallestGroup) -> SeasonFigures {
    let fields = count_fields(visits);
    let telling: Vec<&StandingVisit<'_>> = visits
        .iter()
        .copied()
        .filter(|visit| visit.tells_of_k())
        .collect();
    if !telling.is_empty() && !enough(&telling, smallest) {
        return SeasonFigures {
            fields,
            visits_and_units: None,
            k: Err(TOO_FEW_FIELDS),
        };
    }
    let counts = |visits: &[&StandingVisit<'_>]| -> Vec<CountFrequencies> {
        let counts = visits.iter().filter_map(|visit| visit.counts);
        counts.cloned().collect()
    };
    let all = counts(visits);
    let units = telling.iter().filter_map(|visit| visit.counts);
    let units = units.map(CountFrequencies::units).sum();
    SeasonFigures {
        fields,
        visits_and_units: Some((telling.len() as u64, units)),
        k: match all.is_empty() && !visits.is_empty() {
            true => Err(RATES),
            false => fit_common_k(&all).map_err(word_of),
        },
    }
}

fn count_fields(visits: &[&StandingVisit<'_>]) -> u64 {
    let fields: BTreeSet<&str> = visits.iter().map(|visit| visit.field_id).collect();
    fields.len() as u64
}

/// Whether the fields and farms of these visits are enough to be seen: the rule of county-weeks, by which a
/// field without a farm counts as a farm of its own.
fn enough(visits: &[&StandingVisit<'_>], smallest: SmallestGroup) -> bool {
    let farms: BTreeSet<(bool, &str)> = visits
        .iter()
        .map(|visit| {
            (
                visit.farm_id.is_some(),
                visit.farm_id.unwrap_or(visit.field_id),
            )
        })
        .collect();
    let farms_given = farms.iter().any(|(given, _)| *given);
    count_fields(visits) >= u64::from(smallest.fields)
        && (!farms_given || farms.len() as u64 >= u64::from(smallest.farms))
}

/// Taylor's law of one kind of sample over the visits of a season that are shown.
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

fn season_laws<'a>(visits: &[StandingVisit<'a>]) -> Vec<SeasonLaw<'a>> {
    let mut groups: BTreeMap<(i32, &str), Vec<&StandingVisit<'a>>> = BTreeMap::new();
    for visit in visits.iter().filter(|visit| visit.shown) {
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
