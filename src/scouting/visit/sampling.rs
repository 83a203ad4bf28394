//! Sampling statistics of a visit: unit totals → site means → field mean.
//!
//! Two-stage sampling with sites as the primary units (Cochran, W.G. 1977, Sampling Techniques,
//! 3rd ed., chapter 10; from memory): the standard error is based on the site means alone.

use super::record::{CountForm, Site, Visit};
use super::zones::{ZoneSites, Zones};

/// What a visit's counts say about the field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SamplingStatistics {
    /// Sites sampled.
    pub sites: u32,
    /// Units (heads, plants, traps) examined.
    pub units: u32,
    /// All that was counted.
    pub total: u64,
    /// Mean of the site means, by zone where the plan has zones: per head, per plant, or per trap, a night or in all as the
    /// protocol says.
    pub field_mean: f64,
    /// Variance of the site means, `sites - 1` degrees of freedom; `None` for a single site. Under zones, sites × the square of
    /// the standard error; `None` where a zone has a single site.
    pub variance_between_sites: Option<f64>,
    /// Variance of units about their site's mean, pooled over the sites, `units - sites` degrees of
    /// freedom; `None` if each site has one unit.
    pub variance_within_sites: Option<f64>,
    /// Standard deviation of the site means ÷ √sites; `None` for a single site.
    pub standard_error: Option<f64>,
}

/// One unit as it is kept: what was counted on it, in order.
#[derive(Debug, Clone, PartialEq)]
pub struct Unit<'a> {
    /// The counts within the unit: six bracts, or one number.
    pub counts: &'a [super::count::Count],
    /// Trap-nights of the catch.
    pub nights: Option<u32>,
}

impl Unit<'_> {
    /// The unit's total.
    pub fn total(&self) -> u64 {
        self.counts.iter().map(|count| u64::from(count.0)).sum()
    }

    /// The total that enters the means: a trap's is divided by its nights, where the protocol says so.
    pub(super) fn value(&self, catch_by_night: bool) -> f64 {
        // At most 100 counts of a million each: exact in a double.
        let total = self.total() as f64;
        let nights = self.nights.filter(|_| catch_by_night);
        nights.map_or(total, |nights| total / f64::from(nights))
    }
}

impl Site {
    /// The site's units, in order.
    pub fn units(&self) -> impl ExactSizeIterator<Item = Unit<'_>> + Clone {
        let units = match (&self.heads, &self.plants, &self.traps) {
            (Some(heads), _, _) => heads.len(),
            (_, Some(plants), _) => plants.len(),
            (_, _, Some(traps)) => traps.len(),
            _ => 0,
        };
        (0..units).map(|place| self.unit(place))
    }

    fn unit(&self, place: usize) -> Unit<'_> {
        let (counts, nights) = match (&self.heads, &self.plants, &self.traps) {
            (Some(heads), _, _) => (heads.head(place), None),
            (_, Some(plants), _) => (&plants[place..=place], None),
            (_, _, Some(traps)) => {
                let trap = &traps[place];
                (std::slice::from_ref(&trap.catch), Some(trap.nights))
            }
            _ => (&[][..], None),
        };
        Unit { counts, nights }
    }
}

impl Visit {
    /// The form of the counts; `None` if the sites do not all use the same one.
    pub fn count_form(&self) -> Option<CountForm> {
        let form = self.sites.first()?.count_form()?;
        self.sites
            .iter()
            .all(|site| site.count_form() == Some(form))
            .then_some(form)
    }

    /// The sampling statistics of the visit's counts. Sites must not be empty, which the schema
    /// promises. `catch_by_night` says whether a trap's catch is divided by its nights.
    /// Under a plan with zones the mean is weighted by them, and the variance is that within them.
    pub fn sampling_statistics(&self, catch_by_night: bool, zones: &Zones) -> SamplingStatistics {
        let total = self.sites.iter().flat_map(Site::units);
        let total = total.map(|unit| unit.total()).sum();
        let values = self
            .sites
            .iter()
            .map(|site| site.units().map(move |unit| unit.value(catch_by_night)));
        statistics(values, total, zones.sites_of(&self.sites))
    }
}

/// Statistics of the units' values, site by site.
fn statistics<Values>(
    sites: impl Iterator<Item = Values>,
    total: u64,
    zones: Option<Vec<ZoneSites>>,
) -> SamplingStatistics
where
    Values: ExactSizeIterator<Item = f64> + Clone,
{
    let mut units = 0;
    let mut within = 0.0;
    let mut site_means: Vec<f64> = Vec::with_capacity(sites.size_hint().0);
    for values in sites {
        let mean = mean(values.clone());
        units += values.len();
        within += squared_deviations(values, mean);
        site_means.push(mean);
    }
    let between = match zones {
        None => Between::of(&site_means),
        Some(zones) => Between::within_zones(&site_means, &zones),
    };
    SamplingStatistics {
        sites: site_means.len() as u32,
        units: units as u32,
        total,
        field_mean: between.mean,
        variance_between_sites: between.variance,
        variance_within_sites: divided(within, units - site_means.len()),
        standard_error: between.standard_error,
    }
}

/// What the means of sites say of the field's mean.
struct Between {
    mean: f64,
    variance: Option<f64>,
    standard_error: Option<f64>,
}

impl Between {
    fn of(site_means: &[f64]) -> Between {
        let means = || site_means.iter().copied();
        let field_mean = mean(means());
        let squares = squared_deviations(means(), field_mean);
        let variance = divided(squares, site_means.len() - 1);
        Between {
            mean: field_mean,
            variance,
            standard_error: variance.map(|variance| (variance / site_means.len() as f64).sqrt()),
        }
    }

    /// Each zone has a site. Zones scatter differently, since they differ in mean: where one has a single site, the error is
    /// not known.
    fn within_zones(site_means: &[f64], zones: &[ZoneSites]) -> Between {
        let (mut field_mean, mut squared_error) = (0.0, Some(0.0));
        for zone in zones {
            let means = || zone.sites.iter().map(|site| site_means[*site]);
            let zone_mean = mean(means());
            field_mean += zone.share * zone_mean;
            let variance = divided(squared_deviations(means(), zone_mean), zone.sites.len() - 1);
            let part = variance
                .map(|variance| zone.share * zone.share * variance / zone.sites.len() as f64);
            squared_error = squared_error.zip(part).map(|(sum, part)| sum + part);
        }
        Between {
            mean: field_mean,
            variance: squared_error.map(|error| error * site_means.len() as f64),
            standard_error: squared_error.map(f64::sqrt),
        }
    }
}

fn mean(values: impl ExactSizeIterator<Item = f64>) -> f64 {
    let units = values.len() as f64;
    values.sum::<f64>() / units
}

fn squared_deviations(values: impl Iterator<Item = f64>, mean: f64) -> f64 {
    values.map(|value| (value - mean).powi(2)).sum()
}

fn divided(sum: f64, degrees_of_freedom: usize) -> Option<f64> {
    (degrees_of_freedom > 0).then(|| sum / degrees_of_freedom as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_site_has_a_mean_but_no_standard_error() {
        // The worked visit of the design: heads of 3 and 1 eggs at one site.
        let result = statistics([vec![3.0, 1.0]].map(Vec::into_iter).into_iter(), 4, None);
        assert_eq!(result.field_mean, 2.0);
        assert_eq!(result.variance_within_sites, Some(2.0));
        assert_eq!(
            (result.variance_between_sites, result.standard_error),
            (None, None)
        );
    }

    #[test]
    fn the_field_mean_weighs_sites_not_units() {
        // By hand: site means 2 and 6, field mean 4, not the 3.333 of the pooled units.
        let result = statistics(
            [vec![1.0, 3.0], vec![6.0]].map(Vec::into_iter).into_iter(),
            10,
            None,
        );
        assert_eq!(result.field_mean, 4.0);
        assert_eq!(result.variance_between_sites, Some(8.0));
        assert_eq!(result.standard_error, Some(2.0));
        assert_eq!(result.variance_within_sites, Some(2.0));
    }

    #[test]
    fn what_zones_differ_by_is_no_scatter() {
        // By hand: zone means 8 and 3, 0.2 · 8 + 0.8 · 3 = 4; variances 8 and 2 within them, and
        // 0.04 · 8 ÷ 2 + 0.64 · 2 ÷ 2 = 0.8, times four sites 3.2.
        let zones = vec![
            ZoneSites {
                share: 0.2,
                sites: vec![0, 2],
            },
            ZoneSites {
                share: 0.8,
                sites: vec![1, 3],
            },
        ];
        let sites = || [vec![6.0], vec![2.0], vec![10.0], vec![4.0]].map(Vec::into_iter);
        let result = statistics(sites().into_iter(), 22, Some(zones));
        assert!((result.field_mean - 4.0).abs() < 1e-12);
        assert!((result.variance_between_sites.unwrap() - 3.2).abs() < 1e-12);
        assert!((result.standard_error.unwrap() - 0.8_f64.sqrt()).abs() < 1e-12);
        let one_inside = vec![
            ZoneSites {
                share: 0.2,
                sites: vec![0, 1, 2],
            },
            ZoneSites {
                share: 0.8,
                sites: vec![3],
            },
        ];
        let result = statistics(sites().into_iter(), 22, Some(one_inside));
        assert!((result.field_mean - 4.4).abs() < 1e-12);
        assert_eq!(result.standard_error, None);
        let alike = statistics(sites().into_iter(), 22, None);
        assert_eq!(alike.field_mean, 5.5);
        assert!(alike.variance_between_sites.unwrap() > 10.0);
    }
}
