//! The news of the first weeks: no field has reached the crop stages at which the count is valid.

use std::collections::BTreeMap;

use crate::alert::bulletin::Bulletin;
use crate::shared::passages::sentence_case;
use crate::shared::shown_numbers::{count_of, join_with_and};
use scouting::visit::stage::StageScale;

/// How public rows write the vegetative stages together.
const VEGETATIVE: &str = "V";

/// The headline where every field shown is before the stages of the count: `All 39 fields reported are still vegetative; counts
/// start at R2`. `None` where a field was counted, one is past those stages, or no stage is shown.
pub(super) fn early_headline(bulletin: &Bulletin) -> Option<String> {
    let protocol = bulletin.protocol;
    let first = place_of(&protocol.first_stage, &protocol.scale);
    let mut stages: BTreeMap<i32, (&str, u32)> = BTreeMap::new();
    for row in bulletin.rows {
        if row.fields_visited > 0 || row.stages.is_empty() {
            return None;
        }
        for stage in &row.stages {
            let last = stage.crop_stage.rsplit('–').next()?;
            if place_of(last, &protocol.scale) >= first {
                return None;
            }
            let found = stages.entry(stage.place).or_insert((&stage.crop_stage, 0));
            found.1 += stage.fields;
        }
    }
    let fields: u32 = stages.values().map(|(_, fields)| fields).sum();
    let words = protocol.words();
    let all = match fields {
        0 => return None,
        some => count_of(some as usize, words.one(), words.several()),
    };
    let still = match stages.values().all(|(stage, _)| *stage == VEGETATIVE) {
        true => "still vegetative".to_owned(),
        false => {
            let each: Vec<String> = stages
                .values()
                .map(|(stage, fields)| format!("{stage} {fields}"))
                .collect();
            let each = join_with_and(&each)?;
            format!("still before {} ({each})", protocol.first_stage)
        }
    };
    Some(sentence_case(&format!(
        "all {all} reported are {still}; counts start at {}",
        protocol.first_stage
    )))
}

/// Place of a stage in the order of growth; the vegetative ones together come first.
fn place_of(crop_stage: &str, scale: &StageScale) -> i32 {
    scale
        .read(crop_stage)
        .map_or(-1, |stage| stage.first_place())
}
