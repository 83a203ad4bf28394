//! Invented submissions with duplicates, conflicts, corrections and withdrawals.

use bractline::demo::{Landscape, MessShares, SampleLine, SampleLines, SampleOptions};

/// Lines of invented visits with every kind of mess.
pub fn sample(seed: u64, fields: usize) -> Vec<SampleLine> {
    let options = SampleOptions {
        seed,
        fields,
        mess: MessShares {
            late: 0.2,
            corrected: 0.15,
            retracted: 0.1,
            duplicated: 0.1,
            conflicting: 0.1,
            broken: 0.2,
            returned: 0.5,
        },
        ..SampleOptions::default()
    };
    // The region of the sample data was drawn from this seed.
    SampleLines::new(
        &Landscape::draw(SampleOptions::default().seed).shapes(),
        &options,
    )
    .expect("the region has counties")
    .collect()
}

pub fn text_of(lines: &[SampleLine]) -> Vec<u8> {
    lines
        .iter()
        .flat_map(|line| line.bytes.iter().copied().chain([b'\n']))
        .collect()
}
