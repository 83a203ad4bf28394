//! The crop stages of a row's fields, in groups that are large enough to show.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use super::field::{FieldWeek, Id};
use super::rule::Rule;

/// Fields in a crop stage, or in neighboring ones that are too few to tell apart.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct StageFields {
    /// The stage, or the first and the last: `R3`, `R2–R3`.
    pub crop_stage: String,
    /// Place of the first stage in the order of growth.
    pub place: i32,
    /// Its fields.
    pub fields: u32,
    /// Whether the stages are in the protocol's window.
    pub in_window: bool,
}

/// Stages with their places, and their fields.
type StageGroup<'a> = (Vec<(i32, &'a str)>, Vec<&'a FieldWeek>);

/// Stages in the order of growth, each with enough fields; what has too few joins the next, the rest the last.
pub(super) fn stage_groups(
    fields: &[&FieldWeek],
    farms_known: bool,
    rule: &Rule,
) -> Vec<StageFields> {
    let mut by_stage: BTreeMap<(i32, &str), Vec<&FieldWeek>> = BTreeMap::new();
    for field in fields {
        let stage = (field.stage_place, field.crop_stage.as_str());
        by_stage.entry(stage).or_default().push(field);
    }
    let enough = |fields: &[&FieldWeek]| {
        let least = rule.least_fields(farms_known);
        let farms: BTreeSet<Id> = fields.iter().filter_map(|field| field.farm).collect();
        fields.len() as u32 >= least && (!farms_known || farms.len() as u32 >= rule.min_farms)
    };
    let mut groups: Vec<StageGroup> = Vec::new();
    let (mut stages, mut open) = (Vec::new(), Vec::new());
    for (stage, fields) in by_stage {
        stages.push(stage);
        open.extend(fields);
        if enough(&open) {
            groups.push((std::mem::take(&mut stages), std::mem::take(&mut open)));
        }
    }
    if let Some((last_stages, last)) = groups.last_mut() {
        last_stages.append(&mut stages);
        last.append(&mut open);
    }
    let group = |(stages, fields): StageGroup| {
        let (first, last) = (stages.first()?, stages.last()?);
        Some(StageFields {
            crop_stage: match first == last {
                true => first.1.to_owned(),
                false => format!("{}–{}", first.1, last.1),
            },
            place: first.0,
            fields: fields.len() as u32,
            in_window: fields.iter().all(|field| field.in_window),
        })
    };
    groups.into_iter().filter_map(group).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::invented::{fields, row_of};
    use crate::rule::Level;

    #[test]
    fn a_stage_of_few_fields_joins_its_neighbor() {
        let mut some = fields(&[0.5; 7]);
        for (field, stage) in some
            .iter_mut()
            .zip(["R2", "R3", "R3", "R3", "R3", "R3", "R4"])
        {
            field.crop_stage = stage.to_owned();
            field.stage_place = i32::from(stage.as_bytes()[1]);
        }
        let stages = row_of(&some, Level::Survey).stages;
        let said: Vec<_> = stages
            .iter()
            .map(|group| (&*group.crop_stage, group.fields))
            .collect();
        assert_eq!(said, [("R2–R4", 7)]);
        some[1].crop_stage = "R2".to_owned();
        some[1].stage_place = i32::from(b'2');
        some[2] = FieldWeek {
            field: some[2].field,
            farm: some[2].farm,
            ..some[1].clone()
        };
        let stages = row_of(&some, Level::Survey).stages;
        let said: Vec<_> = stages
            .iter()
            .map(|group| (&*group.crop_stage, group.fields))
            .collect();
        assert_eq!(said, [("R2", 3), ("R3–R4", 4)]);
    }
}
