//! Generates fields whose true mean is known and measures how often the interval of a field's mean holds it,
//! and how often a sequential plan is wrong. Writes the text of `benches/INTERVALS.md` to stdout:
//!
//!     cargo run --example simulate_intervals > benches/INTERVALS.md
//!
//! The fields are invented: sites with a Gamma distributed mean each, negative binomial units within.

use bractline::statistics::field_mean::{FieldMean, Interval};
use bractline::statistics::law_interval::FieldMeanByLaw;
use bractline::statistics::power_law::{MeanVariance, fit_power_law};
use bractline::statistics::simulation::{AtLimit, SequentialPlan, Spread, UnitCounts};
use bractline::statistics::stop_lines::{Decision, Risks, WaldLines};
use bractline::statistics::variance_law::VarianceLaw;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Gamma, LogNormal};

const SEED: u64 = 20_260_721;
const FIELDS: u32 = 2_000;
/// The fields of a setting are spread over seasons, each with a law of variance of its own.
const SEASONS: u32 = 40;
/// Other fields of a season from which its law is fitted, with means of all sizes.
const FIELDS_OF_LAW: u32 = 60;
const CONFIDENCE: f64 = 0.95;
const SITES: [u32; 5] = [4, 8, 12, 16, 24];
const UNITS_PER_SITE: u32 = 5;
const MEANS: [f64; 5] = [0.5, 1.0, 2.0, 3.2, 6.0];

/// How the invented pest is spread in a field.
struct Scatter {
    name: &'static str,
    /// Shape of the Gamma distribution of the sites' means.
    between_sites: f64,
    /// k of the units within a site.
    within_sites: f64,
}

/// Published k of single units lie between 0.65 (codling moths in traps) and 2.0 (webworms).
const SCATTERS: [Scatter; 3] = [
    Scatter {
        name: "even",
        between_sites: 8.0,
        within_sites: 2.0,
    },
    Scatter {
        name: "patchy",
        between_sites: 3.0,
        within_sites: 1.2,
    },
    Scatter {
        name: "extreme",
        between_sites: 1.0,
        within_sites: 0.5,
    },
];

impl Scatter {
    /// Sites of a field with this mean, each a source of counts.
    fn site(&self, field_mean: f64, chance: &mut ChaCha8Rng) -> UnitCounts {
        let sites = Gamma::new(self.between_sites, field_mean / self.between_sites);
        let site_mean = sites.expect("shape and mean are above 0").sample(chance);
        let spread = Spread::NegativeBinomial {
            k: self.within_sites,
        };
        UnitCounts::new(spread, site_mean).expect("a drawn mean is not below 0")
    }

    fn site_means(&self, field_mean: f64, sites: u32, chance: &mut ChaCha8Rng) -> Vec<f64> {
        (0..sites)
            .map(|_| {
                let site = self.site(field_mean, chance);
                let total: f64 = (0..UNITS_PER_SITE).map(|_| site.draw(chance)).sum();
                total / f64::from(UNITS_PER_SITE)
            })
            .collect()
    }
}

/// What a sample says of its site means.
struct Sample {
    mean: f64,
    standard_error: f64,
    third_moment: f64,
    sites: u32,
}

impl Sample {
    fn of(site_means: &[f64]) -> Sample {
        let sites = site_means.len() as f64;
        let mean = site_means.iter().sum::<f64>() / sites;
        let moment = |power: i32| -> f64 {
            let powers = site_means.iter().map(|site| (site - mean).powi(power));
            powers.sum()
        };
        Sample {
            mean,
            standard_error: (moment(2) / (sites - 1.0) / sites).sqrt(),
            third_moment: moment(3) * sites / ((sites - 1.0) * (sites - 2.0)),
            sites: site_means.len() as u32,
        }
    }

    /// Student's interval about the mean.
    fn student(&self) -> Interval {
        let field = FieldMean::new(self.mean, Some(self.standard_error), self.sites);
        let interval = field.and_then(|field| field.interval(CONFIDENCE));
        interval.expect("several sites and a confidence below 1")
    }

    /// The published interval: Student's of the logarithm, where there is one.
    fn student_of_logarithm(&self) -> Interval {
        let field = FieldMean::new(self.mean, Some(self.standard_error), self.sites);
        let interval = field.and_then(|field| field.interval_in_proportion(CONFIDENCE));
        interval.unwrap_or_else(|| self.student())
    }

    /// Whether the interval by the season's law of variance holds a mean.
    fn law_holds(&self, law: VarianceLaw, mean: f64) -> bool {
        let field = FieldMeanByLaw::new(self.mean, self.sites, law);
        field.and_then(|field| field.near_threshold(CONFIDENCE, mean)) == Some(true)
    }

    /// Johnson, N.J. 1978, J. Am. Stat. Assoc. 73:536–544 (from memory): the interval moved by the sample's
    /// skewness.
    fn johnson(&self) -> Interval {
        let student = self.student();
        if self.standard_error == 0.0 {
            return student;
        }
        let sites = f64::from(self.sites);
        let shift = self.third_moment / (6.0 * sites * sites * self.standard_error.powi(2));
        let half = student.high - self.mean;
        Interval {
            low: (self.mean + shift - half).max(0.0),
            high: self.mean + shift + half,
        }
    }
}

/// How often an interval held the true mean.
#[derive(Default)]
struct Coverage {
    covered: u32,
    too_low: u32,
    too_high: u32,
}

impl Coverage {
    fn add(&mut self, interval: Interval, true_mean: f64) {
        if interval.covers(true_mean) {
            self.covered += 1;
        } else if interval.high < true_mean {
            self.too_low += 1;
        } else {
            self.too_high += 1;
        }
    }

    fn percent(count: u32) -> f64 {
        100.0 * f64::from(count) / f64::from(FIELDS)
    }

    fn within_93_to_97(&self) -> bool {
        (93.0..=97.0).contains(&Self::percent(self.covered))
    }
}

/// How the intervals did, setting by setting, and how they kept within 93–97 %.
fn intervals() {
    introduce_intervals();
    println!(
        "| scatter | sites | mean | Student % | 93–97 | too low % | too high % | logarithm % | Johnson % \
         | law % |\n|---|---|---|---|---|---|---|---|---|---|"
    );
    let mut summary = Vec::new();
    let settings = SCATTERS
        .iter()
        .flat_map(|scatter| SITES.iter().map(move |sites| (scatter, *sites)));
    for (stream, (scatter, sites)) in (0..).zip(settings) {
        let mut chance = ChaCha8Rng::seed_from_u64(SEED);
        chance.set_stream(stream);
        let of_means = MEANS.map(|mean| cover(scatter, sites, mean, &mut chance));
        for (mean, [student, logarithm, johnson, law]) in MEANS.iter().zip(&of_means) {
            println!(
                "| {} | {sites} | {mean} | {:.1} | {} | {:.1} | {:.1} | {:.1} | {:.1} | {:.1} |",
                scatter.name,
                Coverage::percent(student.covered),
                if student.within_93_to_97() {
                    "yes"
                } else {
                    "**no**"
                },
                Coverage::percent(student.too_low),
                Coverage::percent(student.too_high),
                Coverage::percent(logarithm.covered),
                Coverage::percent(johnson.covered),
                Coverage::percent(law.covered),
            );
        }
        let kept = [0, 1, 2, 3].map(|interval| summed_up(&of_means, interval));
        summary.push(format!(
            "| {} | {sites} | {} |",
            scatter.name,
            kept.join(" | ")
        ));
    }
    println!(
        "\nOf the {} means of a row, those within 93–97 %, with the lowest and the highest coverage:\n",
        MEANS.len()
    );
    println!(
        "| scatter | sites | Student | logarithm | Johnson | law |\n|---|---|---|---|---|---|"
    );
    println!("{}", summary.join("\n"));
}

/// How many means an interval kept within 93–97 %, and between which coverages.
fn summed_up(of_means: &[[Coverage; 4]], interval: usize) -> String {
    let of_interval = of_means.iter().map(|coverages| &coverages[interval]);
    let kept = of_interval
        .clone()
        .filter(|coverage| coverage.within_93_to_97());
    let covered = of_interval.clone().map(|coverage| coverage.covered);
    let (least, most) = (covered.clone().min(), covered.max());
    let percent = |count: Option<u32>| Coverage::percent(count.unwrap_or_default());
    format!(
        "{} ({:.1}–{:.1})",
        kept.count(),
        percent(least),
        percent(most)
    )
}

fn introduce_intervals() {
    println!("## Intervals of a field's mean\n");
    println!(
        "{FIELDS} fields a setting, seed {SEED}, {UNITS_PER_SITE} units a site, nominal {:.0} %. Two standard \
         errors of a share near 95 % are one percent point.\n",
        100.0 * CONFIDENCE
    );
    for scatter in &SCATTERS {
        println!(
            "- `{}`: site means Gamma with shape {} (coefficient of variation {:.0} %), units within a \
             site negative binomial with k {}.",
            scatter.name,
            scatter.between_sites,
            100.0 / scatter.between_sites.sqrt(),
            scatter.within_sites
        );
    }
    println!(
        "\n*Too low*: the true mean lies above the interval, the error that leaves a bad field untreated. \
         Student's interval about the mean is too short where a pest is patchy or sites are few: a sample that \
         missed the rich sites has a low mean and a small error at once. Student's t of the logarithm is the \
         interval that is published. The columns at the right are others: Johnson's, moved by the \
         skewness; and that by the season's law of variance (`src/statistics/law_interval.rs`), Taylor's law \
         fitted to the site means of {FIELDS_OF_LAW} other fields with means mostly from 0.3 to 8, anew in each \
         of {SEASONS} seasons. One without an upper end counts as holding what lies above it.\n"
    );
}

fn cover(scatter: &Scatter, sites: u32, mean: f64, chance: &mut ChaCha8Rng) -> [Coverage; 4] {
    let mut coverages: [Coverage; 4] = Default::default();
    for _ in 0..SEASONS {
        let law = season_law(scatter, sites, chance);
        for _ in 0..FIELDS / SEASONS {
            let sample = Sample::of(&scatter.site_means(mean, sites, chance));
            coverages[0].add(sample.student(), mean);
            coverages[1].add(sample.student_of_logarithm(), mean);
            coverages[2].add(sample.johnson(), mean);
            coverages[3].covered += u32::from(sample.law_holds(law, mean));
        }
    }
    coverages
}

/// Taylor's law of the variance of site means, from fields of a season.
fn season_law(scatter: &Scatter, sites: u32, chance: &mut ChaCha8Rng) -> VarianceLaw {
    let means = LogNormal::new(f64::ln(1.5), 0.8).expect("a spread above 0");
    let fields: Vec<MeanVariance> = (0..FIELDS_OF_LAW)
        .map(|_| {
            let field_mean = means.sample(chance);
            let sample = Sample::of(&scatter.site_means(field_mean, sites, chance));
            MeanVariance {
                mean: sample.mean,
                variance: sample.standard_error.powi(2) * f64::from(sites),
            }
        })
        .collect();
    let law = fit_power_law(&fields).expect("most of the fields have something at several sites");
    law.law_of_mean_variance()
}

const SAMPLES: u32 = 10_000;
const RISKS: Risks = Risks {
    false_high: 0.1,
    false_low: 0.1,
};
/// Low and high mean, k, the most units.
const PLANS: [(f64, f64, f64, u64); 7] = [
    (1.6, 3.2, 0.65, 120),
    (1.6, 3.2, 1.2, 120),
    (1.6, 3.2, 2.0, 120),
    (1.6, 3.2, 1.2, 40),
    (1.6, 3.2, 1.2, 20),
    (2.4, 3.2, 1.2, 120),
    (0.5, 1.5, 1.2, 120),
];

fn plan((low, high, k, units_max): (f64, f64, f64, u64)) -> SequentialPlan {
    let lines = WaldLines::negative_binomial(k, low, high, RISKS);
    SequentialPlan {
        lines: lines.expect("low is below high and k above 0"),
        units_min: 5,
        units_max,
        at_limit: AtLimit::NearerLine,
    }
}

/// Whether an error rate is at or below its nominal one within three standard errors of the simulation.
fn kept(error_rate: f64, nominal: f64) -> &'static str {
    let standard_error = (nominal * (1.0 - nominal) / f64::from(SAMPLES)).sqrt();
    if error_rate <= nominal + 3.0 * standard_error {
        "yes"
    } else {
        "**no**"
    }
}

/// Plans whose units are drawn one by one all over the field, as the test supposes.
fn sequential_plans() {
    println!("\n## Sequential plans, units all over the field\n");
    println!(
        "{SAMPLES} samples a mean, seed {SEED}; Wald's lines for negative binomial counts, both risks 0.1, at \
         least 5 units; at the limit the nearer line decides. *Kept*: both error rates at or below 0.1 within \
         three standard errors (0.009). Middle: at the slope of the lines, where a plan takes longest.\n"
    );
    println!(
        "| low mean | high mean | k | most units | high at low mean | low at high mean | kept | mean units \
         at low, middle, high | 90 % of samples within | at the limit (middle) |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|");
    for (low, high, k, units_max) in PLANS {
        let plan = plan((low, high, k, units_max));
        let means = [low, plan.lines.slope, high];
        let spread = Spread::NegativeBinomial { k };
        let points = plan.operating_characteristic(spread, &means, SAMPLES, SEED);
        let points = points.expect("a plan with sense");
        let worst = points[0].probability_high.max(points[2].probability_low);
        println!(
            "| {low} | {high} | {k} | {units_max} | {:.3} | {:.3} | {} | {:.1}, {:.1}, {:.1} | {:.0}, {:.0}, \
             {:.0} | {:.1} % |",
            points[0].probability_high,
            points[2].probability_low,
            kept(worst, RISKS.false_high),
            points[0].mean_units,
            points[1].mean_units,
            points[2].mean_units,
            points[0].p90_units,
            points[1].p90_units,
            points[2].p90_units,
            100.0 * points[1].share_at_limit,
        );
    }
}

/// Lines for units one by one and for whole sites, where five units are taken at each site: the units of a
/// site are alike.
fn plans_by_sites() {
    println!("\n## Sequential plans, five units at each site\n");
    println!(
        "Low mean 1.6, high mean 3.2 a unit, most units 120. The test supposes counts that know nothing of \
         each other; the units of a site do. So the risks are not kept where the lines are asked after each \
         unit, with k within a site or with k of all units of a field, `1/(1/shape + 1/k + 1/(shape·k))`. They \
         are kept where a *site's total* is the count, but for the extreme scatter, of which the limit cuts \
         many samples: low mean 8, high mean 16, k of the site \
         totals `1/(1/shape + (1 + 1/shape)/(5·k))`, most sites 24.\n"
    );
    println!(
        "| scatter | asked after each | k of the plan | high at low mean | low at high mean | kept | mean \
         units at low, high |\n|---|---|---|---|---|---|---|"
    );
    for (stream, scatter) in (1_000..).zip(&SCATTERS) {
        let (between, within) = (scatter.between_sites.recip(), scatter.within_sites.recip());
        let of_field = (between + within + between * within).recip();
        let of_sites = (between + (1.0 + between) * within / f64::from(UNITS_PER_SITE)).recip();
        for (asked, k) in [
            (Asked::AfterUnit, scatter.within_sites),
            (Asked::AfterUnit, of_field),
            (Asked::AfterSite, of_sites),
        ] {
            let mut chance = ChaCha8Rng::seed_from_u64(SEED);
            chance.set_stream(stream);
            let [(false_high, units_low), (false_low, units_high)] =
                [(1.6, Decision::High), (3.2, Decision::Low)]
                    .map(|(mean, wrong)| by_sites(asked, k, scatter, mean, wrong, &mut chance));
            println!(
                "| {} | {} | {k:.2} | {false_high:.3} | {false_low:.3} | {} | {units_low:.1}, {units_high:.1} |",
                scatter.name,
                match asked {
                    Asked::AfterUnit => "unit",
                    Asked::AfterSite => "site",
                },
                kept(false_high.max(false_low), RISKS.false_high),
            );
        }
    }
}

/// When the lines are asked.
#[derive(Clone, Copy)]
enum Asked {
    AfterUnit,
    AfterSite,
}

/// Share of samples by sites that end with the wrong decision, and the mean number of units.
fn by_sites(
    asked: Asked,
    k: f64,
    scatter: &Scatter,
    mean: f64,
    wrong: Decision,
    chance: &mut ChaCha8Rng,
) -> (f64, f64) {
    let units = f64::from(UNITS_PER_SITE);
    let (plan, units_of_count) = match asked {
        Asked::AfterUnit => (plan((1.6, 3.2, k, 120)), 1.0),
        Asked::AfterSite => {
            let by_sites = plan((1.6 * units, 3.2 * units, k, 24));
            (
                SequentialPlan {
                    units_min: 1,
                    ..by_sites
                },
                units,
            )
        }
    };
    let (mut wrong_ends, mut counts) = (0, 0);
    for _ in 0..SAMPLES {
        let mut site = scatter.site(mean, chance);
        let mut units_left = UNITS_PER_SITE;
        let mut next_unit = |chance: &mut ChaCha8Rng| {
            if units_left == 0 {
                (site, units_left) = (scatter.site(mean, chance), UNITS_PER_SITE);
            }
            units_left -= 1;
            site.draw(chance)
        };
        let end = plan.follow(|| match asked {
            Asked::AfterUnit => next_unit(chance),
            Asked::AfterSite => (0..UNITS_PER_SITE).map(|_| next_unit(chance)).sum(),
        });
        wrong_ends += u32::from(end.decision == wrong);
        counts += end.units;
    }
    let samples = f64::from(SAMPLES);
    (
        f64::from(wrong_ends) / samples,
        counts as f64 * units_of_count / samples,
    )
}

fn main() {
    println!("# How well intervals and sequential plans keep their word\n");
    println!(
        "Written by `cargo run --example simulate_intervals`; invented fields, true means known.\n"
    );
    intervals();
    sequential_plans();
    plans_by_sites();
}
