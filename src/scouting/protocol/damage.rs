//! What a count costs if it is left alone: the crop that a treatment saves, where a protocol's file states the
//! relation. It knows no price and no field: money is the caller's.
//!
//! All relations that the built-in files carry are straight lines of the mean count, so a file gives a slope
//! and, where the line does not begin at 0, a beginning. A protocol whose file states none has none: nothing is
//! put in its place.

use super::planned::Planner;
use super::plausible_corners::Corners;
use super::protocol_file::{Damage, Protocol};

/// Plans the expressions of a protocol and tries them wherever its plausible amounts reach; the key and the reason if
/// one is refused.
pub(super) fn try_damage(
    damage: &Damage,
    protocol: &Protocol,
    planner: Planner,
) -> Result<(), (&'static str, String)> {
    let slope = &damage.saved_kg_per_ha_per_count;
    amounts_of_crop(protocol, planner, slope, |value| value > 0.0)
        .map_err(|reason| ("saved_kg_per_ha_per_count", reason))?;
    let Some(beginning) = &damage.saved_kg_per_ha_at_none else {
        return Ok(());
    };
    amounts_of_crop(protocol, planner, beginning, |value| value >= 0.0)
        .map_err(|reason| ("saved_kg_per_ha_at_none", reason))
}

/// Refuses an expression that gives no amount of crop somewhere, or that knows only some fields of a crop type.
fn amounts_of_crop(
    protocol: &Protocol,
    planner: Planner,
    text: &str,
    least: fn(f64) -> bool,
) -> Result<(), String> {
    let scalar = planner(text)?;
    let corners = Corners::of(protocol, &scalar.named());
    for crop_type in &protocol.crop_types {
        let values = scalar.values(&corners.fields(crop_type))?;
        let known: Vec<f64> = values.iter().copied().flatten().collect();
        let all_fit = known.iter().all(|value| value.is_finite() && least(*value));
        if !all_fit || !known.is_empty() && known.len() != values.len() {
            return Err(format!(
                "for {crop_type} it is no amount of crop wherever [plausible] reaches; give null for a type of \
                 crop that the relation does not cover"
            ));
        }
    }
    Ok(())
}
