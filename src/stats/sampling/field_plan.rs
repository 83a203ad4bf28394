//! A plan for sampling one field: how many sites give a wanted precision, and when a sample may stop before
//! it has them all.
//!
//! The step of a plan is the site, not the unit: units of a site are more alike than units of a field, so a
//! plan that asks after each unit does not keep its risks (`tests/benches/INTERVALS.md`). What is counted at a step is
//! the total of the site's units. Pure numbers; where the scatter comes from, and whether it is assumed, the
//! caller knows.

use crate::counts::moment_estimators::k_by_moments;
use crate::counts::variance_law::VarianceLaw;
use crate::sampling::cost_lines::{CostLines, Costs};
use crate::sampling::sample_size::{units_for_precision, whole_number};
use crate::sampling::simulation::{OperatingPoint, SequentialPlan, Spread};
use crate::sampling::stop_lines::{Decision, Risks, StopRule, WaldLines, precision_stop_total};

/// Samples drawn for each true mean of the operating characteristic: two standard errors of a share near
/// 10% are then half a percent point.
pub const SAMPLES: u32 = 20_000;
/// Our choice: any fixed number.
const SEED: u64 = 1945;
/// True means at which the plan is tried, as shares of the threshold.
const TRIED: [f64; 9] = [0.25, 0.5, 0.625, 0.75, 0.875, 1.0, 1.25, 1.5, 2.0];

/// How the totals of sites scatter about their mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SiteScatter {
    /// The variance of the mean of a site as a function of the field's mean, count a unit.
    MeansOfSites(VarianceLaw),
    /// k of the totals of sites, the same at every mean.
    TotalsWithK(f64),
    /// Units that are infested or not, each by chance alone.
    Presence,
}

/// How the lines of a plan are chosen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Lines {
    /// By the expected cost of both errors.
    ByCost(Costs),
    /// Wald's, between a low mean and the threshold.
    Walds {
        /// Count a unit, below the threshold.
        low_mean: f64,
        /// Nominal error rates.
        risks: Risks,
    },
}

/// What is asked of a plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlanQuestion {
    /// Threshold of the field, count a unit (or share of infested units).
    pub threshold: f64,
    /// How its lines are chosen.
    pub lines: Lines,
    /// Units looked at in each site.
    pub units_per_site: u32,
    /// Scatter of the sites.
    pub scatter: SiteScatter,
    /// Wanted standard error ÷ mean, where the mean is the threshold.
    pub precision: f64,
    /// Sites that are always looked at.
    pub sites_min: u32,
    /// Sites after which the sample ends in any case.
    pub sites_max: u32,
}

/// A plan.
#[derive(Debug, Clone, PartialEq)]
pub struct FieldPlan {
    /// Sites for the wanted precision at the threshold.
    pub sites_for_precision: u64,
    /// k of the sites' totals at the threshold; `None` where they scatter no more than chance.
    pub k_of_site_totals: Option<f64>,
    /// One row per site, from the first that may decide.
    pub stops: Vec<Stop>,
    /// After the most sites, the highest total that says below the threshold; every higher one does not rule it out.
    pub last_low_total: Option<u64>,
    /// What the plan does at fields of known means, in rising order; numbers of units are of sites here.
    pub operating_points: Vec<OperatingPoint>,
}

/// When to stop after so many sites. Totals are of everything counted so far, whole numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stop {
    /// Sites looked at.
    pub sites: u32,
    /// Stop and say below the threshold at or under this total; `None` where no total says so yet.
    pub low_total: Option<u64>,
    /// Stop and say threshold not ruled out from this total on.
    pub high_total: u64,
    /// From this total on the mean is known with the wanted precision, whatever it is; `None` where no total is
    /// enough yet.
    pub precise_total: Option<u64>,
}

impl FieldPlan {
    /// What the plan does where the true mean is this one, if it was tried.
    pub fn at(&self, true_mean: f64) -> Option<&OperatingPoint> {
        let mut points = self.operating_points.iter();
        points.find(|point| point.true_mean == true_mean)
    }
}

/// The plan for a question. `None` if its numbers are out of order: means, precision, risks and costs above 0, a low
/// mean below the threshold, sites_min up to sites_max, or a scatter that gives no variance.
pub fn plan_field(question: &PlanQuestion) -> Option<FieldPlan> {
    let units = f64::from(question.units_per_site);
    let high = units * question.threshold;
    let law = law_of_site_totals(question.scatter, units, question.threshold)?;
    let k_of_site_totals = k_by_moments(high, law.variance(high)?);
    let (rule, spread) = rule_and_spread(question, k_of_site_totals, high)?;
    let steps = rule.steps_a_site();
    let plan = SequentialPlan {
        lines: rule,
        units_min: u64::from(question.sites_min) * steps,
        units_max: u64::from(question.sites_max) * steps,
    };
    let operating_points = operating_points(question, &plan, spread)?;
    let stop = |sites: u32| {
        let (low_total, high_total) = plan.lines.totals(sites);
        let precise = precision_stop_total(&law, question.precision, u64::from(sites));
        Stop {
            sites,
            low_total,
            high_total,
            precise_total: precise.map(|total| total.ceil() as u64),
        }
    };
    Some(FieldPlan {
        sites_for_precision: whole_number(units_for_precision(&law, high, question.precision)?),
        k_of_site_totals,
        stops: (question.sites_min..=question.sites_max)
            .map(stop)
            .collect(),
        last_low_total: plan.lines.last_low_total(question.sites_max),
        operating_points,
    })
}

/// The plan with as many most sites as keep the nominal risks, from those of the question on and half as many more
/// each time; with `sites_most` even if it does not keep them there. Lines by cost have the sites of the question.
/// With the question that it answers. `None` as [`plan_field`].
pub fn plan_within_risks(
    question: &PlanQuestion,
    sites_most: u32,
) -> Option<(PlanQuestion, FieldPlan)> {
    let mut question = *question;
    loop {
        let plan = plan_field(&question)?;
        if keeps_risks(&plan, &question)? || question.sites_max >= sites_most {
            return Some((question, plan));
        }
        let more = question
            .sites_max
            .saturating_add(question.sites_max.div_ceil(2));
        question.sites_max = more.min(sites_most);
    }
}

/// Whether the simulated samples are wrong no more often than asked, but for two standard errors of the simulation.
fn keeps_risks(plan: &FieldPlan, question: &PlanQuestion) -> Option<bool> {
    let Lines::Walds { low_mean, risks } = question.lines else {
        return Some(true);
    };
    let kept = |wrong: f64, risk: f64| {
        wrong <= risk + 2.0 * (risk * (1.0 - risk) / f64::from(SAMPLES)).sqrt()
    };
    let (low, high) = (plan.at(low_mean)?, plan.at(question.threshold)?);
    Some(
        kept(low.probability_high, risks.false_high) && kept(high.probability_low, risks.false_low),
    )
}

/// What the plan does at fields whose true mean is the threshold, or another about it.
fn operating_points(
    question: &PlanQuestion,
    plan: &SequentialPlan<Rule>,
    spread: Spread,
) -> Option<Vec<OperatingPoint>> {
    let possible = |mean: &f64| question.scatter != SiteScatter::Presence || *mean < 1.0;
    let tried = TRIED.iter().map(|share| share * question.threshold);
    let low_mean = match question.lines {
        Lines::Walds { low_mean, .. } => Some(low_mean),
        Lines::ByCost(_) => None,
    };
    let mut means: Vec<f64> = tried.chain(low_mean).filter(possible).collect();
    means.sort_by(f64::total_cmp);
    means.dedup();
    // A step counts the units of a site together, or one unit.
    let steps = plan.lines.steps_a_site() as f64;
    let a_step = f64::from(question.units_per_site) / steps;
    let means_a_step: Vec<f64> = means.iter().map(|mean| mean * a_step).collect();
    let mut points = plan.operating_characteristic(spread, &means_a_step, SAMPLES, SEED)?;
    for (point, mean) in points.iter_mut().zip(means) {
        point.true_mean = mean;
        point.mean_units /= steps;
        point.p90_units /= steps;
    }
    Some(points)
}

/// The lines of a plan.
#[derive(Debug, Clone)]
enum Rule {
    ByCost(CostLines),
    /// Asked so many times a site: once, or after each unit where units are infested or not.
    Walds(WaldLines, u64),
}

impl Rule {
    fn steps_a_site(&self) -> u64 {
        match self {
            Rule::ByCost(_) => 1,
            Rule::Walds(_, steps) => *steps,
        }
    }

    /// The totals of so many sites that say below, and that do not rule the threshold out.
    fn totals(&self, sites: u32) -> (Option<u64>, u64) {
        match self {
            Rule::ByCost(lines) => lines
                .limits(u64::from(sites))
                .map_or((None, 0), |limits| (limits.low, limits.high)),
            Rule::Walds(lines, steps) => {
                let units = u64::from(sites) * steps;
                let low = lines.low(units);
                (
                    (low >= 0.0).then_some(low.floor() as u64),
                    lines.high(units).ceil().max(0.0) as u64,
                )
            }
        }
    }

    fn last_low_total(&self, sites: u32) -> Option<u64> {
        match self {
            Rule::ByCost(_) => self.totals(sites).0,
            // The first whole total at or over the middle is not ruled out.
            Rule::Walds(lines, steps) => {
                let middle = lines.middle(u64::from(sites) * steps).ceil().max(0.0);
                (middle as u64).checked_sub(1)
            }
        }
    }
}

impl StopRule for Rule {
    fn decide(&self, units: u64, total: f64) -> Decision {
        match self {
            Rule::ByCost(lines) => lines.decide(units, total),
            Rule::Walds(lines, _) => lines.decide(units, total),
        }
    }

    fn decide_at_limit(&self, units: u64, total: f64) -> Decision {
        match self {
            Rule::ByCost(lines) => lines.decide_at_limit(units, total),
            Rule::Walds(lines, _) => lines.decide_at_limit(units, total),
        }
    }
}

/// The variance of the totals of sites as a function of their mean.
fn law_of_site_totals(scatter: SiteScatter, units: f64, threshold: f64) -> Option<VarianceLaw> {
    match scatter {
        // Var(units · mean) = units² · a · m^b, and m is the total's mean ÷ units.
        SiteScatter::MeansOfSites(VarianceLaw::Power { a, b }) => Some(VarianceLaw::Power {
            a: units.powf(2.0 - b) * a,
            b,
        }),
        SiteScatter::MeansOfSites(law) => {
            let total = units * threshold;
            let variance = units * units * law.variance(threshold)?;
            k_by_moments(total, variance).map_or(Some(VarianceLaw::Poisson), |k| {
                Some(VarianceLaw::NegativeBinomial { k })
            })
        }
        SiteScatter::TotalsWithK(k) => (k > 0.0).then_some(VarianceLaw::NegativeBinomial { k }),
        // units · p · (1 − p) = m − m²/units: the negative binomial's form with k = −units, which is Iwao's.
        SiteScatter::Presence => Some(VarianceLaw::Crowding {
            alpha: 0.0,
            beta: 1.0 - 1.0 / units,
        }),
    }
}

fn rule_and_spread(
    question: &PlanQuestion,
    k: Option<f64>,
    threshold_total: f64,
) -> Option<(Rule, Spread)> {
    let units = question.units_per_site;
    let spread = match (question.scatter, k) {
        (SiteScatter::Presence, _) => Spread::Presence { units },
        (_, Some(k)) => Spread::NegativeBinomial { k },
        (_, None) => Spread::Poisson,
    };
    let (low_mean, risks) = match question.lines {
        Lines::ByCost(costs) => {
            let (sites_min, sites_max) = (question.sites_min, question.sites_max);
            let lines = CostLines::new(spread, threshold_total, costs, sites_min, sites_max)?;
            return Some((Rule::ByCost(lines), spread));
        }
        Lines::Walds { low_mean, risks } => (low_mean, risks),
    };
    let low_total = f64::from(units) * low_mean;
    let lines = match spread {
        Spread::Presence { .. } => {
            let lines = WaldLines::binomial(low_mean, question.threshold, risks)?;
            let one = Spread::Presence { units: 1 };
            return Some((Rule::Walds(lines, u64::from(units)), one));
        }
        Spread::NegativeBinomial { k } => {
            WaldLines::negative_binomial(k, low_total, threshold_total, risks)?
        }
        Spread::Poisson => WaldLines::poisson(low_total, threshold_total, risks)?,
    };
    Some((Rule::Walds(lines, 1), spread))
}

#[cfg(test)]
mod tests {
    use super::*;

    const RISKS: Risks = Risks {
        false_high: 0.1,
        false_low: 0.1,
    };
    const WALDS: Lines = Lines::Walds {
        low_mean: 0.4,
        risks: RISKS,
    };

    /// What the plan does at the low mean.
    fn at_low_mean(plan: &FieldPlan) -> OperatingPoint {
        *plan.at(0.4).expect("a point")
    }

    fn at_threshold(plan: &FieldPlan) -> OperatingPoint {
        *plan.at(0.8).expect("a point")
    }

    const QUESTION: PlanQuestion = PlanQuestion {
        threshold: 0.8,
        lines: WALDS,
        units_per_site: 5,
        scatter: SiteScatter::TotalsWithK(4.6),
        precision: 0.25,
        sites_min: 1,
        sites_max: 30,
    };

    #[test]
    fn the_stop_table_is_walds_of_site_totals() {
        // Negative binomial, means 2 and 4, k 4.6, both risks 0.1: slope 2.841808,
        // intercepts ±5.128255 (R package sequential.pops documents the same decision). 0.4 × 5 = 2.
        let plan = plan_field(&QUESTION).expect("a plan");
        let fifth = plan.stops[4];
        assert_eq!(
            (fifth.sites, fifth.low_total, fifth.high_total),
            (5, Some(9), 20)
        );
        assert_eq!(
            plan.stops[0].low_total, None,
            "2.84 − 5.13 is below nothing"
        );
        assert!((plan.k_of_site_totals.expect("aggregated") - 4.6).abs() < 1e-9);
        // (1/m + 1/k)/D² with m = 4: 7.478…, so eight sites.
        assert_eq!(plan.sites_for_precision, 8);
    }

    #[test]
    fn the_risks_are_kept_at_the_two_means() {
        let plan = plan_field(&QUESTION).expect("a plan");
        let at = |mean: f64| {
            let mut found = plan.operating_points.iter();
            found
                .find(|point| (point.true_mean - mean).abs() < 1e-9)
                .expect("a point")
        };
        // Two standard errors of 20,000 samples at 10 % are 0.0042.
        assert!(
            at_low_mean(&plan).probability_high < 0.1042,
            "{:?}",
            at_low_mean(&plan)
        );
        assert!(
            at_threshold(&plan).probability_low < 0.1042,
            "{:?}",
            at_threshold(&plan)
        );
        assert!(at(0.4).mean_units < at(0.6).mean_units);
        assert!(at(1.6).mean_units < at(0.6).mean_units);
    }

    #[test]
    fn a_sample_cut_short_is_wrong_more_often_and_the_plan_says_so() {
        let short = PlanQuestion {
            sites_max: 3,
            ..QUESTION
        };
        let plan = plan_field(&short).expect("a plan");
        assert!(
            at_low_mean(&plan).probability_high > 0.15,
            "{:?}",
            at_low_mean(&plan)
        );
        assert!(at_low_mean(&plan).share_at_limit > 0.3);
    }

    #[test]
    fn most_sites_grow_until_the_risks_are_kept_or_there_are_no_more() {
        let short = PlanQuestion {
            sites_max: 3,
            ..QUESTION
        };
        let (question, plan) = plan_within_risks(&short, 200).expect("a plan");
        assert!(
            question.sites_max > 3 && question.sites_max < 40,
            "{}",
            question.sites_max
        );
        assert!(at_low_mean(&plan).probability_high < 0.1043);
        assert!(at_threshold(&plan).probability_low < 0.1043);
        let (question, plan) = plan_within_risks(&short, 4).expect("a plan");
        assert_eq!(question.sites_max, 4);
        assert!(at_low_mean(&plan).probability_high > 0.1043);
    }

    #[test]
    fn greens_line_is_that_of_site_totals() {
        // a = 2, b = 1.4 for the totals themselves (facts 5.3: n = 5 → 110.3071, D = 0.25), with one unit a site.
        let question = PlanQuestion {
            units_per_site: 1,
            scatter: SiteScatter::MeansOfSites(VarianceLaw::Power { a: 2.0, b: 1.4 }),
            ..QUESTION
        };
        let plan = plan_field(&question).expect("a plan");
        assert_eq!(plan.stops[4].precise_total, Some(111));
        // Five units a site: the law of totals follows from that of the means.
        let five = PlanQuestion {
            units_per_site: 5,
            ..question
        };
        let by_hand = (5_f64.powf(0.6) * 2.0 * 5_f64.powf(-0.4) / 0.0625).powf(1.0 / 0.6);
        let total = plan_field(&five).expect("a plan").stops[4].precise_total;
        assert_eq!(total, Some(by_hand.ceil() as u64));
    }

    #[test]
    fn infested_or_not_is_asked_plant_by_plant() {
        // facts 5.3: p₀ 0.1, p₁ 0.3, both risks 0.1: slope 0.186169, intercepts ±1.627662.
        let question = PlanQuestion {
            threshold: 0.3,
            lines: Lines::Walds {
                low_mean: 0.1,
                risks: RISKS,
            },
            units_per_site: 20,
            scatter: SiteScatter::Presence,
            ..QUESTION
        };
        let plan = plan_field(&question).expect("a plan");
        assert_eq!(
            (plan.stops[0].low_total, plan.stops[0].high_total),
            (Some(2), 6)
        );
        assert!(
            plan.operating_points
                .iter()
                .all(|point| point.true_mean < 1.0)
        );
        assert!(
            plan.operating_points[5].mean_units < 5.0,
            "sites, not plants"
        );
    }

    #[test]
    fn lines_by_cost_say_below_of_few_fields_at_threshold_and_meet_at_the_last_site() {
        let by_cost = PlanQuestion {
            lines: Lines::ByCost(Costs {
                miss: 10.0,
                site: 0.005,
            }),
            sites_min: 4,
            sites_max: 16,
            ..QUESTION
        };
        let plan = plan_field(&by_cost).expect("a plan");
        assert!(at_threshold(&plan).probability_low < 0.2);
        let chances = plan.operating_points.iter().map(|at| at.probability_high);
        assert!(chances.is_sorted(), "{:?}", plan.operating_points);
        let last = plan.stops[12];
        assert_eq!(last.low_total, plan.last_low_total);
        assert_eq!(last.low_total.map(|low| low + 1), Some(last.high_total));
        for stops in plan.stops.windows(2) {
            assert!(stops[0].low_total <= stops[1].low_total);
        }
        // Chance alone, and plants that are infested or not.
        let alone = PlanQuestion {
            scatter: SiteScatter::MeansOfSites(VarianceLaw::Poisson),
            units_per_site: 1,
            ..by_cost
        };
        assert_eq!(plan_field(&alone).expect("a plan").k_of_site_totals, None);
        let presence = PlanQuestion {
            threshold: 0.08,
            units_per_site: 20,
            scatter: SiteScatter::Presence,
            ..by_cost
        };
        let presence = plan_field(&presence).expect("a plan");
        assert!(presence.at(0.04).expect("a point").probability_high < 0.2);
    }

    #[test]
    fn numbers_out_of_order_give_no_plan() {
        for broken in [
            PlanQuestion {
                lines: Lines::Walds {
                    low_mean: 0.8,
                    risks: RISKS,
                },
                ..QUESTION
            },
            PlanQuestion {
                threshold: 0.0,
                ..QUESTION
            },
            PlanQuestion {
                precision: 0.0,
                ..QUESTION
            },
            PlanQuestion {
                sites_max: 0,
                ..QUESTION
            },
            PlanQuestion {
                scatter: SiteScatter::TotalsWithK(0.0),
                ..QUESTION
            },
        ] {
            assert!(plan_field(&broken).is_none(), "{broken:?}");
        }
    }
}
