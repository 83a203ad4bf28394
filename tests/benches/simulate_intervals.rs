//! Generates fields whose true mean is known and measures how often the range of a field's mean holds it, how often a
//! call is wrong, and how often a sequential plan is. Writes the text of `tests/benches/INTERVALS.md` to stdout:
//!
//!     cargo run --example simulate_intervals > tests/benches/INTERVALS.md
//!
//! The fields are invented.

mod invented_fields;
mod simulated_calls;
mod simulated_k;
mod simulated_plans;
mod simulated_ranges;

use invented_fields::{SCATTERS, Scatter, UNITS_PER_SITE};
use simulated_plans::{SAMPLES, plans_by_sites, sequential_plans};

const SEED: u64 = 20_260_721;

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
    println!("# How well ranges, calls and sequential plans keep their word\n");
    println!(
        "Written by `cargo run --example simulate_intervals`; invented fields, true means known.\n"
    );
    simulated_ranges::ranges();
    simulated_ranges::unusual_seasons();
    simulated_calls::calls();
    simulated_k::k_of_units();
    sequential_plans();
    plans_by_sites();
}
