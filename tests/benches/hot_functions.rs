//! The functions that every record of a load passes through, one by one: `cargo bench --bench hot_functions`.
//!
//! Not run in CI: what a machine does in a second says nothing on another. What CI guards is a ratio,
//! `tests/judges/load_speed.rs`.

use std::hint::black_box;

use bractline::demo::{Landscape, MessShares, SampleLines, SampleOptions};
use criterion::{Criterion, Throughput};
use intake::judge::validate::VisitSchema;
use scouting::region::Region;
use scouting::visit::record::Visit;
use scouting::visit::zones::Zones;

const VISITS: usize = 1_000;

/// Good records, one a line.
fn lines() -> Vec<Vec<u8>> {
    let options = SampleOptions {
        seed: 7,
        fields: usize::MAX,
        mess: MessShares::none(),
        ..SampleOptions::default()
    };
    let sample = SampleLines::new(&Landscape::draw(7).shapes(), &options).expect("counties");
    sample.take(VISITS).map(|line| line.bytes).collect()
}

fn reading(criterion: &mut Criterion) {
    let lines = lines();
    let bytes = lines.iter().map(Vec::len).sum::<usize>();
    let mut group = criterion.benchmark_group("a thousand records");
    group.throughput(Throughput::Bytes(bytes as u64));
    group.bench_function("typed reading", |bencher| {
        bencher.iter(|| {
            for line in &lines {
                black_box(serde_json::from_slice::<Visit>(line).is_ok());
            }
        });
    });
    let schema = VisitSchema::new();
    group.bench_function("reading by the schema", |bencher| {
        bencher.iter(|| {
            for line in &lines {
                black_box(schema.read(line).is_ok());
            }
        });
    });
    let visits: Vec<Visit> = lines
        .iter()
        .filter_map(|line| Some(schema.read(line).ok()?.visit))
        .collect();
    group.bench_function("sampling statistics", |bencher| {
        bencher.iter(|| {
            for visit in &visits {
                black_box(visit.sampling_statistics(false, &Zones::default()));
            }
        });
    });
    group.bench_function("writing as JSON", |bencher| {
        bencher.iter(|| {
            for visit in &visits {
                black_box(serde_json::to_vec(visit).is_ok());
            }
        });
    });
    group.finish();
}

fn locating(criterion: &mut Criterion) {
    let region = Region::built_in("us:20,31,38,46").expect("states of the program");
    let points: Vec<(f64, f64)> = (0..VISITS)
        .map(|place| {
            let step = place as f64 / VISITS as f64;
            (-104.0 + 8.0 * step, 37.0 + 12.0 * (step * 7.0).fract())
        })
        .collect();
    criterion.bench_function("a thousand points in their counties", |bencher| {
        bencher.iter(|| {
            for (lon, lat) in &points {
                black_box(region.locate(*lon, *lat));
            }
        });
    });
}

fn main() {
    let mut criterion = Criterion::default().configure_from_args();
    reading(&mut criterion);
    locating(&mut criterion);
    criterion.final_summary();
}
