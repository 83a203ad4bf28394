//! Sequential plans on simulated fields: how often they are wrong, and how many units they ask for.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use stats::sampling::simulation::{SequentialPlan, Spread};
use stats::sampling::stop_lines::{Decision, Risks, WaldLines};

use super::{SCATTERS, SEED, Scatter, UNITS_PER_SITE, kept};

pub const SAMPLES: u32 = 10_000;

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

fn plan((low, high, k, units_max): (f64, f64, f64, u64)) -> SequentialPlan<WaldLines> {
    let lines = WaldLines::negative_binomial(k, low, high, RISKS);
    SequentialPlan {
        lines: lines.expect("low is below high and k above 0"),
        units_min: 5,
        units_max,
    }
}

/// Plans whose units are drawn one by one all over the field, as the test supposes.
pub fn sequential_plans() {
    println!("\n## Sequential plans, units all over the field\n");
    println!(
        "{SAMPLES} samples a mean, seed {SEED}; Wald's lines for negative binomial counts, both risks 0.1, at \
         least 5 units; at the limit the nearer line decides. *Kept*: both error rates at or below 0.1 within \
         three standard errors (0.009). Middle: at the slope of the lines, where a plan takes longest.\n"
    );
    println!(
        "| low mean | high mean | k | most units | high at low mean | low at high mean | kept | mean units \
         at low, middle, high | 90% of samples within | at the limit (middle) |"
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
             {:.0} | {:.1}% |",
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
pub fn plans_by_sites() {
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
