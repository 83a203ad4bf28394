//! An expression of a protocol once it is planned: a scalar of the canonical columns, and the threshold that it gives.
//!
//! No engine is named here: a [`Planner`] plans the text, and gives a [`Scalar`] that computes. Which expressions are
//! accepted as thresholds is decided in [`super::plan_threshold`].

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Debug;
use std::sync::Arc;

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
    pub(super) scalar: Arc<dyn Scalar>,
    pub(super) economics_needed: BTreeMap<String, Vec<EconomicMember>>,
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
}
