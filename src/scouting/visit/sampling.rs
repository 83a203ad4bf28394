//! Sampling statistics of a visit: unit totals → site means → field mean.
//!
//! Two-stage sampling with sites as the primary units (Cochran, W.G. 1977, Sampling Techniques,
//! 3rd ed., chapter 10; from memory): the standard error is based on the site means alone.

use super::record::{CountForm, Site, Visit};

/// What a visit's counts say about the field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SamplingStatistics {
    /// Sites sampled.
    pub sites: u32,
    /// Units (heads, plants, traps) examined.
    pub units: u32,
    /// All that was counted.
    pub total: u64,
    /// Mean of the site means: per head, per plant, or per trap, a night or in all as the protocol says.
    pub field_mean: f64,
    /// Variance of the site means, `sites - 1` degrees of freedom; `None` for a single site.
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
    pub fn sampling_statistics(&self, catch_by_night: bool) -> SamplingStatistics {
        let total = self.sites.iter().flat_map(Site::units);
        let total = total.map(|unit| unit.total()).sum();
        let values = self
            .sites
            .iter()
            .map(|site| site.units().map(move |unit| unit.value(catch_by_night)));
        statistics(values, total)
    }
}

/// Statistics of the units' values, site by site.
fn statistics<Values>(sites: impl Iterator<Item = Values>, total: u64) -> SamplingStatistics
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
    let means = || site_means.iter().copied();
    let field_mean = mean(means());
    let degrees_of_freedom = site_means.len() - 1;
    let variance_between_sites =
        divided(squared_deviations(means(), field_mean), degrees_of_freedom);
    SamplingStatistics {
        sites: site_means.len() as u32,
        units: units as u32,
        total,
        field_mean,
        variance_between_sites,
        variance_within_sites: divided(within, units - site_means.len()),
        standard_error: variance_between_sites
            .map(|variance| (variance / site_means.len() as f64).sqrt()),
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
        let result = statistics([vec![3.0, 1.0]].map(Vec::into_iter).into_iter(), 4);
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
        );
        assert_eq!(result.field_mean, 4.0);
        assert_eq!(result.variance_between_sites, Some(8.0));
        assert_eq!(result.standard_error, Some(2.0));
        assert_eq!(result.variance_within_sites, Some(2.0));
    }
}
