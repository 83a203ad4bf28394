//! The same visits packed in every way.

use std::io::Write;

use flate2::Compression;
use flate2::write::GzEncoder;
use serde_json::Value;

use crate::support::full_visit;

pub fn packed(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::fast());
    encoder.write_all(bytes).expect("packing to memory");
    encoder.finish().expect("packing to memory")
}

pub fn visits(prefix: &str, count: usize) -> Vec<Value> {
    (0..count)
        .map(|number| full_visit(&format!("{prefix}-{number}")))
        .collect()
}
