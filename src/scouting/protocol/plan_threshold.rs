//! The threshold of a protocol: an expression over the canonical columns, tried at the ends of what is plausible.
//! One that is not above 0 there, or that hides an amount that is not known, is refused with the reason.
//!
//! [`super::sound`] names the place in the file, [`super::threshold`] the fields.

use std::collections::BTreeMap;

use super::planned::{CANONICAL_COLUMNS, PlannedThreshold, Planner, ThresholdField};
use super::plausible_corners::{Corners, not_positive};
use super::protocol_file::Protocol;
use crate::visit::economics::EconomicMember;
use crate::visit::record::Economics;

/// Plans the expression of a protocol whose stage window is sound; the reason if it is refused.
pub(super) fn plan_threshold(
    protocol: &Protocol,
    planner: Planner,
) -> Result<PlannedThreshold, String> {
    let mut planned = PlannedThreshold {
        scalar: planner(&protocol.threshold.expression)?,
        economics_needed: BTreeMap::new(),
    };
    for crop_type in &protocol.crop_types {
        let needed = needed_of(&planned, protocol, crop_type)?;
        planned.economics_needed.insert(crop_type.clone(), needed);
    }
    Ok(planned)
}

/// What the threshold of a crop type needs of the economics; refused if it is not above 0 in every corner
/// of what is plausible, since pressure is a mean divided by it.
fn needed_of(
    planned: &PlannedThreshold,
    protocol: &Protocol,
    crop_type: &str,
) -> Result<Vec<EconomicMember>, String> {
    let corners = Corners::of(protocol, &planned.scalar.named());
    let fields = corners.fields(crop_type);
    let values = planned.values(&fields)?;
    for (field, value) in fields.iter().zip(&values) {
        if !value.is_some_and(|value| value > 0.0 && value.is_finite()) {
            return Err(not_positive(field, *value));
        }
    }
    let mut needed = Vec::new();
    for (member, column) in EconomicMember::ALL.into_iter().zip(CANONICAL_COLUMNS) {
        let without = values_without(planned, member, &fields)?;
        if without.contains(&None) {
            needed.push(member);
        } else if without != values {
            return Err(format!(
                "where {column} is not known it gives a number all the same, as greatest and coalesce do, \
                 though it depends on it; let it give nothing there: case when … < 0.5 then 0.5 else … end"
            ));
        }
    }
    Ok(needed)
}

/// The thresholds of some fields if a member of their economics were not known.
fn values_without(
    planned: &PlannedThreshold,
    member: EconomicMember,
    fields: &[ThresholdField<'_>],
) -> Result<Vec<Option<f64>>, String> {
    let nothing = Economics::default();
    let without: Vec<Economics> = fields
        .iter()
        .map(|field| field.economics.filled(&[member], &nothing))
        .collect();
    let fields: Vec<ThresholdField<'_>> = fields
        .iter()
        .zip(&without)
        .map(|(field, economics)| ThresholdField {
            economics,
            ..field.clone()
        })
        .collect();
    planned.values(&fields)
}
