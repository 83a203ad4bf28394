//! How often a stop card says "below threshold" and "threshold not ruled out" of fields whose true mean is known, by
//! the lines of the least expected cost and by Wald's, which earlier cards had. Writes `tests/benches/STOP_CARDS.md`
//! to stdout:
//!
//!     cargo run --example stop_cards > tests/benches/STOP_CARDS.md
//!
//! The fields are invented: totals of sites are negative binomial.

use stats::sampling::cost_lines::{CostLines, Costs};
use stats::sampling::share_interval::wilson;
use stats::sampling::simulation::{OperatingPoint, SequentialPlan, Spread};
use stats::sampling::stop_lines::{Risks, StopRule, WaldLines};

const SEED: u64 = 20_261_130;
const SAMPLES: u32 = 20_000;
/// Sum of a site at threshold: 3.2 eggs on each of five heads.
const THRESHOLD: f64 = 16.0;
const SITES: (u32, u32) = (4, 20);
const RATIOS: [f64; 6] = [0.5, 0.75, 1.0, 1.25, 1.5, 2.0];
/// The defaults of `bractline plan field`.
const COSTS: Costs = Costs {
    miss: 10.0,
    site: 0.005,
};
const RISKS: Risks = Risks {
    false_high: 0.1,
    false_low: 0.1,
};

fn points(rule: impl StopRule, true_k: f64) -> Vec<OperatingPoint> {
    let plan = SequentialPlan {
        lines: rule,
        units_min: u64::from(SITES.0),
        units_max: u64::from(SITES.1),
    };
    let means = RATIOS.map(|ratio| ratio * THRESHOLD);
    let spread = Spread::NegativeBinomial { k: true_k };
    let points = plan.operating_characteristic(spread, &means, SAMPLES, SEED);
    points.expect("a plan with sense")
}

fn row(name: &str, k: f64, true_k: f64, points: &[OperatingPoint]) {
    let cell = |point: &OperatingPoint| {
        let ended = (point.probability_high * f64::from(SAMPLES)).round() as u32;
        let limits = wilson(ended, SAMPLES).expect("samples");
        format!(
            "{:.1} ({:.1}–{:.1}); {:.1}",
            100.0 * point.probability_high,
            100.0 * limits[0],
            100.0 * limits[1],
            point.mean_units
        )
    };
    let cells: Vec<String> = points.iter().map(cell).collect();
    println!("| {name} | {k} | {true_k} | {} |", cells.join(" | "));
}

fn main() {
    println!("# Stop cards on simulated fields\n");
    println!(
        "Percent of samples that end with \"threshold not ruled out\", with the 95% limits of the simulation, and the mean number \
         of sites; the other samples end with \"below threshold\". {SAMPLES} samples a mean, seed {SEED}; {} to {} sites, {THRESHOLD} \
         eggs a site at threshold, totals of sites negative binomial. The cost lines weigh a miss {} times a needless \"not \
         ruled out\" and a site {}; Wald's lie between half the threshold and the threshold, nominal error rates 0.1. The last rows \
         are of a card that was made for another k than the field's.\n",
        SITES.0, SITES.1, COSTS.miss, COSTS.site
    );
    println!(
        "| lines | k of the card | k of the field | 0.5 × threshold | 0.75 | 1 | 1.25 | 1.5 | 2 |"
    );
    println!("|---|---|---|---|---|---|---|---|---|");
    for (k, true_k) in [
        (0.5, 0.5),
        (0.9, 0.9),
        (2.0, 2.0),
        (4.0, 4.0),
        (2.0, 0.9),
        (0.9, 2.0),
    ] {
        let walds = WaldLines::negative_binomial(k, 0.5 * THRESHOLD, THRESHOLD, RISKS);
        row("Wald's", k, true_k, &points(walds.expect("lines"), true_k));
        let spread = Spread::NegativeBinomial { k };
        let by_cost = CostLines::new(spread, THRESHOLD, COSTS, SITES.0, SITES.1);
        row(
            "by cost",
            k,
            true_k,
            &points(by_cost.expect("lines"), true_k),
        );
    }
}
