//! Stop lines chosen by the expected cost of both errors, of the sites, and of nothing else: the Bayes solution of a
//! sequential test with a last site, found from the last site backwards by dynamic programming over the sums.
//!
//! What an error costs is linear in the mean, as in the cost-loss model of a decision (Murphy, A.H. 1977, Monthly
//! Weather Review 105:803–816; citation from memory): a treatment costs the same at every mean and saves a loss in
//! proportion to it, and at the threshold both are equal. So a needless "not ruled out" at the mean m costs 1 − m/T,
//! and a miss m/T − 1 times what a miss weighs. Where the mean lies is not known beforehand: as likely between a
//! quarter and a half of the threshold as between a half and the whole, and so on up to four times (our choice).
//!
//! Sources: Wald, A. 1947, Sequential Analysis, Wiley; Arrow, K.J., Blackwell, D. & Girshick, M.A. 1949, Econometrica
//! 17:213–244, for the method (citations from memory).

use statrs::function::factorial::ln_binomial;

use crate::counts::negative_binomial::{NegativeBinomial, poisson_log_probability};
use crate::sampling::simulation::Spread;
use crate::sampling::stop_lines::{Decision, StopRule};

/// Doublings of the mean below and above the threshold that are thought possible.
const DOUBLINGS: i32 = 2;
/// Means tried in each doubling; none of them is the threshold itself.
const MEANS_A_DOUBLING: i32 = 8;
/// Sums are looked at up to this many times the threshold; above it every sum is answered alike.
const SUMS_MAX: f64 = 4.0;
/// Sums that differ by less than this share of a site's standard deviation are taken together.
const SUMS_TOGETHER: f64 = 0.1;
/// Counts of a site less likely than this are left out.
const UNLIKELY: f64 = 1e-9;

/// What errors and sites cost, where a needless "not ruled out" of a field without the pest costs 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Costs {
    /// Weight of missing a field at threshold: a miss at twice the threshold costs this much.
    pub miss: f64,
    /// Cost of one more site.
    pub site: f64,
}

/// The sums at which a sample of so many sites stops.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SumLimits {
    /// Stop with `Low` at or under this sum; `None` where no sum says so.
    pub low: Option<u64>,
    /// Stop with `High` from this sum on.
    pub high: u64,
}

/// The sums of each number of sites, from the first that may decide. After the last every sum decides.
#[derive(Debug, Clone, PartialEq)]
pub struct CostLines {
    sites_min: u64,
    limits: Vec<SumLimits>,
}

impl CostLines {
    /// The lines for sites whose totals have this spread and, at the threshold, this mean. `None` if a number is not
    /// above 0 or not finite, or the sites are out of order.
    pub fn new(
        spread: Spread,
        threshold_total: f64,
        costs: Costs,
        sites_min: u32,
        sites_max: u32,
    ) -> Option<CostLines> {
        let usable = |value: f64| value.is_finite() && value > 0.0;
        let in_order = sites_min > 0 && sites_min <= sites_max;
        if !(usable(threshold_total) && usable(costs.miss) && usable(costs.site) && in_order) {
            return None;
        }
        let table = Sums::new(spread, threshold_total, costs)?;
        let mut limits = Vec::new();
        let mut next: Option<Vec<f64>> = None;
        for sites in (sites_min..=sites_max).rev() {
            let row = table.row(f64::from(sites), next.as_deref());
            limits.push(row.limits(table.step, next.is_none()));
            next = Some(row.costs);
        }
        limits.reverse();
        Some(CostLines {
            sites_min: u64::from(sites_min),
            limits,
        })
    }

    /// The sums after so many sites; `None` before the first that may decide, and after the last.
    pub fn limits(&self, sites: u64) -> Option<SumLimits> {
        let place = sites.checked_sub(self.sites_min)?;
        self.limits.get(usize::try_from(place).ok()?).copied()
    }
}

impl StopRule for CostLines {
    fn decide(&self, units: u64, total: f64) -> Decision {
        match self.limits(units) {
            Some(SumLimits { high, .. }) if total >= high as f64 => Decision::High,
            Some(SumLimits { low: Some(low), .. }) if total <= low as f64 => Decision::Low,
            _ => Decision::Continue,
        }
    }

    /// No sample is left between the lines of the last site; one between whole sums is not ruled out.
    fn decide_at_limit(&self, _units: u64, _total: f64) -> Decision {
        Decision::High
    }
}

/// What does not change from site to site.
struct Sums {
    means: Vec<Mean>,
    /// Sums of a row are multiples of it.
    step: u64,
    /// Sums of a site at the threshold, in steps.
    threshold_steps: f64,
    /// Logarithms of the probability of a site's total at the threshold, in steps.
    site: Vec<f64>,
    site_cost: f64,
}

/// A mean that is thought possible.
struct Mean {
    /// Change of the log-likelihood ratio to the threshold with everything counted, and with every site.
    of_count: f64,
    of_site: f64,
    cost_of_low: f64,
    cost_of_high: f64,
}

/// The sums of one number of sites.
struct Row {
    decisions: Vec<Decision>,
    /// Expected cost from here on.
    costs: Vec<f64>,
}

impl Sums {
    fn new(spread: Spread, threshold_total: f64, costs: Costs) -> Option<Sums> {
        let means = means_thought_possible(spread, threshold_total, costs.miss);
        let both_sides = means.iter().any(|mean| mean.cost_of_low > 0.0);
        let step = (SUMS_TOGETHER * standard_deviation(spread, threshold_total)).floor();
        both_sides.then(|| {
            let step = (step as u64).max(1);
            Sums {
                means,
                step,
                threshold_steps: threshold_total / step as f64,
                site: site_totals(spread, threshold_total, step),
                site_cost: costs.site,
            }
        })
    }

    /// The row of so many sites, before the row of one site more; the last row if there is none.
    fn row(&self, sites: f64, next: Option<&[f64]>) -> Row {
        let most = |sites: f64| (SUMS_MAX * sites * self.threshold_steps).ceil() as usize;
        let evidence_of_next: Vec<f64> = match next {
            Some(next) => (0..next.len())
                .map(|sum| self.evidence(sites + 1.0, sum).0)
                .collect(),
            None => Vec::new(),
        };
        let (decisions, costs) = (0..=most(sites))
            .map(|sum| {
                let (evidence, low, high) = self.evidence(sites, sum);
                let stop = match low <= high {
                    true => (Decision::Low, low),
                    false => (Decision::High, high),
                };
                let further = next.map_or(f64::INFINITY, |next| {
                    self.site_cost + self.further(sum, evidence, &evidence_of_next, next)
                });
                match further < stop.1 {
                    true => (Decision::Continue, further),
                    false => stop,
                }
            })
            .unzip();
        Row { decisions, costs }
    }

    /// Logarithm of the likelihood of a sum over all means, against that at the threshold, and the expected costs of
    /// both answers.
    fn evidence(&self, sites: f64, sum: usize) -> (f64, f64, f64) {
        let count = (sum as u64 * self.step) as f64;
        let log = |mean: &Mean| count * mean.of_count - sites * mean.of_site;
        let logs = self.means.iter().map(log);
        let top = logs.clone().fold(f64::NEG_INFINITY, f64::max);
        let (mut all, mut low, mut high) = (0.0, 0.0, 0.0);
        for (mean, log) in self.means.iter().zip(logs) {
            let weight = (log - top).exp();
            all += weight;
            low += weight * mean.cost_of_low;
            high += weight * mean.cost_of_high;
        }
        (top + all.ln(), low / all, high / all)
    }

    /// Expected cost after one more site.
    fn further(&self, sum: usize, evidence: f64, evidence_of_next: &[f64], next: &[f64]) -> f64 {
        let (mut seen, mut cost) = (0.0, 0.0);
        let rows = next[sum..].iter().zip(&evidence_of_next[sum..]);
        for (site, (next, evidence_of_next)) in self.site.iter().zip(rows) {
            let probability = (site + evidence_of_next - evidence).exp();
            seen += probability;
            cost += probability * next;
            if seen >= 1.0 - UNLIKELY {
                break;
            }
        }
        // Higher sums are answered as the highest is.
        let rest: f64 = 1.0 - seen;
        cost + rest.max(0.0) * next.last().copied().unwrap_or(0.0)
    }
}

impl Row {
    fn limits(&self, step: u64, is_last: bool) -> SumLimits {
        let is = |wanted: Decision| move |decision: &&Decision| **decision == wanted;
        let lows = self.decisions.iter().take_while(is(Decision::Low)).count();
        let highs = self.decisions.iter().rev().take_while(is(Decision::High));
        let first_high = (self.decisions.len() - highs.count()) as u64 * step;
        let low = (lows as u64).checked_sub(1).map(|sum| sum * step);
        SumLimits {
            low,
            high: match is_last {
                true => low.map_or(0, |low| low + 1),
                false => first_high,
            },
        }
    }
}

fn means_thought_possible(spread: Spread, threshold_total: f64, miss: f64) -> Vec<Mean> {
    let places = -DOUBLINGS * MEANS_A_DOUBLING..DOUBLINGS * MEANS_A_DOUBLING;
    let ratios = places.map(|place| {
        let place = f64::from(place) + 0.5;
        (place / f64::from(MEANS_A_DOUBLING)).exp2()
    });
    let at_threshold = log_parts(spread, threshold_total);
    ratios
        .filter_map(|ratio| {
            let (of_count, of_site) = log_parts(spread, ratio * threshold_total)?;
            let (count_at_threshold, site_at_threshold) = at_threshold?;
            Some(Mean {
                of_count: of_count - count_at_threshold,
                of_site: of_site - site_at_threshold,
                cost_of_low: miss * (ratio - 1.0).max(0.0),
                cost_of_high: (1.0 - ratio).max(0.0),
            })
        })
        .collect()
}

/// The two parts of the log-likelihood of a sum that depend on the mean: its change with everything counted, and its
/// fall with every site. `None` for a mean that is not possible.
fn log_parts(spread: Spread, mean: f64) -> Option<(f64, f64)> {
    match spread {
        Spread::Poisson => Some((mean.ln(), mean)),
        Spread::NegativeBinomial { k } => {
            (k > 0.0).then(|| (-(k / mean).ln_1p(), k * (mean / k).ln_1p()))
        }
        Spread::Presence { units } => {
            let units = f64::from(units);
            let share = mean / units;
            let of_empty = -(-share).ln_1p();
            (share < 1.0).then(|| (share.ln() + of_empty, units * of_empty))
        }
    }
}

fn standard_deviation(spread: Spread, mean: f64) -> f64 {
    match spread {
        Spread::Poisson => mean.sqrt(),
        Spread::NegativeBinomial { k } => (mean + mean * mean / k).sqrt(),
        Spread::Presence { units } => (mean * (1.0 - mean / f64::from(units))).sqrt(),
    }
}

/// Logarithms of the probability of a site's total at the threshold, a row a step; the nearest step of each total.
fn site_totals(spread: Spread, mean: f64, step: u64) -> Vec<f64> {
    let log_probability = |total: u64| match spread {
        Spread::Poisson => poisson_log_probability(mean, total),
        Spread::NegativeBinomial { k } => NegativeBinomial::new(mean, k)
            .map_or(f64::NEG_INFINITY, |counts| counts.log_probability(total)),
        Spread::Presence { units } => {
            let share = mean / f64::from(units);
            match u64::from(units).checked_sub(total) {
                Some(empty) => {
                    ln_binomial(u64::from(units), total)
                        + total as f64 * share.ln()
                        + empty as f64 * (-share).ln_1p()
                }
                None => f64::NEG_INFINITY,
            }
        }
    };
    // A site with fifty times the threshold is as good as impossible, or answered as one with forty is.
    let most = (50.0 * mean).ceil().max(1.0) as u64 / step + 1;
    (0..=most)
        .map(|place| {
            let from = (place * step).saturating_sub((step - 1) / 2);
            let to = place * step + step / 2;
            let all: f64 = (from..=to).map(|total| log_probability(total).exp()).sum();
            all.ln()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sampling::simulation::SequentialPlan;
    use crate::sampling::stop_lines::{Risks, WaldLines};

    const COSTS: Costs = Costs {
        miss: 10.0,
        site: 0.005,
    };
    const PATCHY: Spread = Spread::NegativeBinomial { k: 0.9 };

    fn sums(lines: &CostLines, sites: u64) -> (Option<u64>, u64) {
        let limits = lines.limits(sites).expect("a row");
        (limits.low, limits.high)
    }

    /// Recomputed with SciPy's distributions, all sums one by one (`tests/reference/stop_lines.py`).
    #[test]
    fn lines_are_those_of_the_reference() {
        let lines = CostLines::new(PATCHY, 16.0, COSTS, 4, 16).expect("lines");
        assert_eq!(sums(&lines, 4), (None, 77));
        assert_eq!(sums(&lines, 10), (Some(63), 142));
        assert_eq!(sums(&lines, 16), (Some(182), 183));
        let even = CostLines::new(Spread::NegativeBinomial { k: 2.0 }, 16.0, COSTS, 4, 24);
        let even = even.expect("lines");
        assert_eq!(sums(&even, 4), (Some(17), 76));
        assert_eq!(sums(&even, 14), (Some(151), 210));
        assert_eq!(sums(&even, 24), (Some(325), 326));
        assert_eq!((even.limits(3), even.limits(25)), (None, None));
    }

    /// The expected cost over the means of the lines' own model, by simulation.
    fn cost(rule: impl StopRule + Clone, spread: Spread, threshold: f64) -> f64 {
        let ratios: Vec<f64> = (0..32)
            .map(|place| ((f64::from(place) - 15.5) / 8.0).exp2())
            .collect();
        let means: Vec<f64> = ratios.iter().map(|ratio| ratio * threshold).collect();
        let plan = SequentialPlan {
            lines: rule,
            units_min: 4,
            units_max: 16,
        };
        let points = plan.operating_characteristic(spread, &means, 4_000, 7);
        let costs = points
            .expect("a plan")
            .into_iter()
            .zip(ratios)
            .map(|(point, ratio)| {
                point.probability_low * COSTS.miss * (ratio - 1.0).max(0.0)
                    + point.probability_high * (1.0 - ratio).max(0.0)
                    + COSTS.site * point.mean_units
            });
        costs.sum::<f64>() / 32.0
    }

    #[test]
    fn no_lines_of_walds_cost_less() {
        for (spread, k) in [(PATCHY, 0.9), (Spread::NegativeBinomial { k: 3.0 }, 3.0)] {
            let best = CostLines::new(spread, 16.0, COSTS, 4, 16).expect("lines");
            let best = cost(best, spread, 16.0);
            for low in [0.4, 0.5, 0.7] {
                for risk in [0.02, 0.05, 0.1, 0.2] {
                    let risks = Risks {
                        false_high: risk,
                        false_low: risk,
                    };
                    let lines = WaldLines::negative_binomial(k, low * 16.0, 16.0, risks);
                    let walds = cost(lines.expect("low below high"), spread, 16.0);
                    // Both by simulation: a hundredth is some four standard errors of their difference.
                    assert!(
                        best < walds + 0.01 * walds,
                        "{k} {low} {risk}: {best} {walds}"
                    );
                }
            }
        }
    }

    #[test]
    fn a_dearer_miss_moves_both_lines_down() {
        let of = |miss: f64| {
            let costs = Costs { miss, ..COSTS };
            CostLines::new(PATCHY, 16.0, costs, 4, 12).expect("lines")
        };
        let (cheap, dear) = (of(2.0), of(20.0));
        for sites in 4..=12 {
            assert!(sums(&dear, sites).0 <= sums(&cheap, sites).0, "{sites}");
            assert!(sums(&dear, sites).1 <= sums(&cheap, sites).1, "{sites}");
        }
    }

    #[test]
    fn large_totals_are_taken_together_and_give_lines_of_the_same_shape() {
        let small = CostLines::new(Spread::NegativeBinomial { k: 2.0 }, 16.0, COSTS, 4, 10);
        let large = CostLines::new(Spread::NegativeBinomial { k: 2.0 }, 1_600.0, COSTS, 4, 10);
        let (small, large) = (small.expect("lines"), large.expect("lines"));
        for sites in 5..=10 {
            let (of_small, of_large) = (sums(&small, sites).1, sums(&large, sites).1);
            let ratio = of_large as f64 / of_small as f64 / 100.0;
            assert!(
                (0.8..1.2).contains(&ratio),
                "{sites}: {of_small} {of_large}"
            );
        }
    }

    #[test]
    fn plants_that_are_infested_or_not_have_lines_and_what_has_no_sense_has_none() {
        let presence = Spread::Presence { units: 20 };
        let lines = CostLines::new(presence, 1.6, COSTS, 5, 20).expect("lines");
        let (low, high) = sums(&lines, 20);
        assert_eq!(low.map(|low| low + 1), Some(high));
        // 0.08 of 400 plants is 32.
        assert!((20..=32).contains(&high), "{high}");
        assert_eq!(CostLines::new(presence, 19.9, COSTS, 5, 20), None);
        for (mean, costs, sites) in [
            (0.0, COSTS, (4, 16)),
            (f64::NAN, COSTS, (4, 16)),
            (16.0, Costs { miss: 0.0, ..COSTS }, (4, 16)),
            (
                16.0,
                Costs {
                    site: -1.0,
                    ..COSTS
                },
                (4, 16),
            ),
            (16.0, COSTS, (0, 16)),
            (16.0, COSTS, (5, 4)),
        ] {
            assert_eq!(CostLines::new(PATCHY, mean, costs, sites.0, sites.1), None);
        }
    }
}
