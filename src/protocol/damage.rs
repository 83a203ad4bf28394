//! What a count costs if it is left alone: the crop that a treatment saves, where a protocol's file states the
//! relation. It knows no price and no field: money is the caller's.
//!
//! All relations that the built-in files carry are straight lines of the mean count, so a file gives a slope
//! and, where the line does not begin at 0, a beginning. A protocol whose file states none has none: nothing is
//! put in its place.

use arrow::array::{Array, Float64Array, RecordBatch};
use serde::{Deserialize, Serialize};

use super::plan_threshold::PlannedScalar;
use super::plausible_corners::Corners;
use super::protocol_file::Protocol;

/// The table `[damage]` of a protocol.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Damage {
    /// SQL scalar over the canonical columns: kilograms of crop per hectare that a treatment saves for each
    /// unit of the field mean; null for a crop type that the relation does not cover.
    pub saved_kg_per_ha_per_count: String,
    /// The same at a mean of 0, where the line does not begin at 0.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub saved_kg_per_ha_at_none: Option<String>,
    /// The same in words.
    pub formula: String,
    /// Where it comes from.
    pub source: String,
}

/// The expressions of a [`Damage`], planned.
#[derive(Debug, Clone)]
pub(super) struct PlannedDamage {
    per_count: PlannedScalar,
    at_none: Option<PlannedScalar>,
}

impl PlannedDamage {
    /// Plans the expressions of a protocol; the key and the reason if one is refused.
    pub(super) fn of(
        protocol: &Protocol,
        damage: &Damage,
    ) -> Result<PlannedDamage, (&'static str, String)> {
        let sound = |key: &'static str, text: &str, least: fn(f64) -> bool| {
            let refused = |reason: String| (key, reason);
            let scalar = PlannedScalar::of(text).map_err(refused)?;
            let corners = Corners::of(protocol, &scalar.named());
            for crop_type in &protocol.crop_types {
                let values = scalar
                    .values_of(&corners.fields(crop_type))
                    .map_err(refused)?;
                let known = values.iter().flatten().count();
                let all_fit = values
                    .iter()
                    .flatten()
                    .all(|value| value.is_finite() && least(*value));
                if !all_fit || known != 0 && known != values.len() {
                    return Err(refused(format!(
                        "for {crop_type} it is no amount of crop wherever [plausible] reaches; give null for a type of \
                         crop that the relation does not cover"
                    )));
                }
            }
            Ok(scalar)
        };
        let (slope, beginning) = ("saved_kg_per_ha_per_count", "saved_kg_per_ha_at_none");
        let at_none = damage.saved_kg_per_ha_at_none.as_deref();
        Ok(PlannedDamage {
            per_count: sound(slope, &damage.saved_kg_per_ha_per_count, |value| {
                value > 0.0
            })?,
            at_none: at_none
                .map(|text| sound(beginning, text, |value| value >= 0.0))
                .transpose()?,
        })
    }
}

impl Protocol {
    /// Kilograms of crop per hectare that a treatment saves in each row, by the file's own relation: `rows` has
    /// the canonical columns, `means` the field means. `None` without a relation; null where it does not
    /// cover the crop type, or an amount that it needs is not known.
    ///
    /// # Errors
    /// The engine's reason, if a column is lacking or cannot be computed with.
    pub fn saved_kg_per_ha(
        &self,
        rows: &RecordBatch,
        means: &Float64Array,
    ) -> Option<Result<Float64Array, String>> {
        let damage = self.planned_damage.as_ref()?;
        Some(damage.saved(rows, means))
    }
}

impl PlannedDamage {
    fn saved(&self, rows: &RecordBatch, means: &Float64Array) -> Result<Float64Array, String> {
        let slopes = self.per_count.values_of_rows(rows)?;
        let beginnings = match &self.at_none {
            Some(scalar) => scalar.values_of_rows(rows)?,
            None => Float64Array::from(vec![0.0; rows.num_rows()]),
        };
        let saved = (0..rows.num_rows()).map(|row| {
            let known = [&slopes, &beginnings, means];
            let all_known = known.iter().all(|values| values.is_valid(row));
            all_known.then(|| beginnings.value(row) + slopes.value(row) * means.value(row))
        });
        Ok(saved.collect())
    }
}
