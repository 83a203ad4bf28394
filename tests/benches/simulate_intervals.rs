//! Generates fields whose true mean is known and measures how often the interval of a field's mean holds it,
//! and how often a sequential plan is wrong. Writes the text of `tests/benches/INTERVALS.md` to stdout:
//!
//!     cargo run --example simulate_intervals > tests/benches/INTERVALS.md
//!
//! The fields are invented: sites with a Gamma distributed mean each, negative binomial units within.

mod simulated_plans;

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Gamma, LogNormal};
use simulated_plans::{SAMPLES, plans_by_sites, sequential_plans};
use stats::counts::power_law::{MeanVariance, fit_power_law};
use stats::counts::variance_law::VarianceLaw;
use stats::sampling::field_mean::{FieldMean, Interval};
use stats::sampling::simulation::{Spread, UnitCounts};

const SEED: u64 = 20_260_721;

const FIELDS: u32 = 2_000;

/// The fields of a setting are spread over seasons, each with a law of variance of its own.
const SEASONS: u32 = 40;

/// Other fields of a season from which its law is fitted, with means of all sizes.
const FIELDS_OF_LAW: u32 = 60;

const CONFIDENCE: f64 = 0.95;

/// The normal distribution's 97.5 % point.
const Z_OF_CONFIDENCE: f64 = 1.959_963_984_540_054;

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

    /// Whether the interval by the season's law of variance holds a mean, as Wilson's interval of a share does
    /// (Wilson, E.B. 1927, J. Am. Stat. Assoc. 22:209–212; from memory): whether the sample is less than z
    /// standard errors away from it, the error being what the law gives for that mean.
    fn law_holds(&self, law: VarianceLaw, mean: f64) -> bool {
        law.variance(mean).is_some_and(|variance| {
            let error = (variance / f64::from(self.sites)).sqrt();
            (self.mean - mean).abs() <= Z_OF_CONFIDENCE * error
        })
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

/// How the intervals did, setting by setting, and how they kept within 93–97%.
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
        "\nOf the {} means of a row, those within 93–97%, with the lowest and the highest coverage:\n",
        MEANS.len()
    );
    println!(
        "| scatter | sites | Student | logarithm | Johnson | law |\n|---|---|---|---|---|---|"
    );
    println!("{}", summary.join("\n"));
}

/// How many means an interval kept within 93–97%, and between which coverages.
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
        "{FIELDS} fields a setting, seed {SEED}, {UNITS_PER_SITE} units per site, nominal {:.0}%. Two standard \
         errors of a share near 95% are one percent point.\n",
        100.0 * CONFIDENCE
    );
    for scatter in &SCATTERS {
        println!(
            "- `{}`: site means Gamma with shape {} (coefficient of variation {:.0}%), units within a \
             site negative binomial with k {}.",
            scatter.name,
            scatter.between_sites,
            100.0 / scatter.between_sites.sqrt(),
            scatter.within_sites
        );
    }
    println!(
        "\n*Too low*: the true mean is above the interval, the error that leaves a bad field untreated. \
         Student's interval about the mean is too short where a pest is patchy or sites are few: a sample that \
         missed the rich sites has a low mean and a small error at once. Student's t of the logarithm is the \
         interval that is published. The columns at the right are others: Johnson's, moved by the \
         skewness; and that by the season's law of variance, Taylor's law \
         fitted to the site means of {FIELDS_OF_LAW} other fields with means mostly from 0.3 to 8, anew in each \
         of {SEASONS} seasons. One without an upper end counts as holding what is above it.\n"
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

/// Whether an error rate is at or below its nominal one within three standard errors of the simulation.
fn kept(error_rate: f64, nominal: f64) -> &'static str {
    let standard_error = (nominal * (1.0 - nominal) / f64::from(SAMPLES)).sqrt();
    if error_rate <= nominal + 3.0 * standard_error {
        "yes"
    } else {
        "**no**"
    }
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
