//! The threshold of a protocol: an expression over the canonical columns, tried at the ends of what is plausible.
//! One that is not above 0 there, or that hides an amount that is not known, is refused with the reason.
//!
//! No engine is named here: a [`Planner`] plans the text, and gives a [`Scalar`] that computes. [`super::sound`] names the
//! place in the file, [`super::threshold`] the fields.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Debug;
use std::sync::Arc;

use super::plausible_corners::{Corners, not_positive};
use super::protocol_file::Protocol;
use crate::visit::economics::EconomicMember;
use crate::visit::record::Economics;

/// The columns that an expression may name, all of `current_visit`: amounts per hectare and kilogram, the area
/// in hectares, the type of crop, and its stage in the scale's own writing.
pub const CANONICAL_COLUMNS: [&str; 6] = [
    "treatment_cost_per_ha",
    "market_value_per_kg",
    "plants_per_ha",
    "area_ha",
    "crop_type",
    "crop_stage",
];

/// A scalar of the canonical columns, planned by an engine.
pub trait Scalar: Debug + Send + Sync {
    /// The expression as SQL, without comments, closed in itself: it can be part of any statement.
    fn sql(&self) -> &str;

    /// The canonical columns that it names.
    fn named(&self) -> BTreeSet<String>;

    /// Its values for some fields; `None` where an amount that it needs is lacking.
    ///
    /// # Errors
    /// The engine's reason, if it cannot be computed.
    fn values(&self, fields: &[ThresholdField<'_>]) -> Result<Vec<Option<f64>>, String>;
}

/// Plans the text of an expression; the reason if it is no scalar of the canonical columns.
pub type Planner = fn(&str) -> Result<Arc<dyn Scalar>, String>;

/// A threshold that was accepted.
#[derive(Debug, Clone)]
pub struct PlannedThreshold {
    scalar: Arc<dyn Scalar>,
    economics_needed: BTreeMap<String, Vec<EconomicMember>>,
}

/// What a threshold can depend on.
#[derive(Debug, Clone)]
pub struct ThresholdField<'a> {
    /// The economics, as far as they are known.
    pub economics: &'a Economics,
    /// Area, hectares.
    pub area_ha: f64,
    /// Type of crop.
    pub crop_type: &'a str,
    /// Crop stage, in the scale's own writing.
    pub crop_stage: &'a str,
}

impl PlannedThreshold {
    /// Plans the expression of a protocol whose stage window is sound; the reason if it is refused.
    pub(super) fn of(protocol: &Protocol, planner: Planner) -> Result<PlannedThreshold, String> {
        let mut planned = PlannedThreshold {
            scalar: planner(&protocol.threshold.expression)?,
            economics_needed: BTreeMap::new(),
        };
        for crop_type in &protocol.crop_types {
            let needed = planned.tried(protocol, crop_type)?;
            planned.economics_needed.insert(crop_type.clone(), needed);
        }
        Ok(planned)
    }

    /// The expression as SQL, without comments, closed in itself: it can be part of any statement.
    pub fn sql(&self) -> &str {
        self.scalar.sql()
    }

    /// What the threshold of each crop type needs of the economics.
    pub fn economics_needed(&self) -> &BTreeMap<String, Vec<EconomicMember>> {
        &self.economics_needed
    }

    /// The thresholds of some fields; `None` where something is lacking.
    pub(super) fn values(&self, fields: &[ThresholdField<'_>]) -> Result<Vec<Option<f64>>, String> {
        self.scalar.values(fields)
    }

    /// What the threshold of a crop type needs of the economics; refused if it is not above 0 in every corner
    /// of what is plausible, since pressure is a mean divided by it.
    fn tried(&self, protocol: &Protocol, crop_type: &str) -> Result<Vec<EconomicMember>, String> {
        let corners = Corners::of(protocol, &self.scalar.named());
        let fields = corners.fields(crop_type);
        let values = self.values(&fields)?;
        for (field, value) in fields.iter().zip(&values) {
            if !value.is_some_and(|value| value > 0.0 && value.is_finite()) {
                return Err(not_positive(field, *value));
            }
        }
        let mut needed = Vec::new();
        for (member, column) in EconomicMember::ALL.into_iter().zip(CANONICAL_COLUMNS) {
            let without = self.values_without(member, &fields)?;
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
        &self,
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
        self.values(&fields)
    }
}
