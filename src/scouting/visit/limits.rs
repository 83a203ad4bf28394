//! What the trade rules are held against: the limits of a protocol, and the season of a workspace.

use std::collections::BTreeMap;

use super::economics::EconomicMember;
use super::record::CountForm;
use super::stage::StageScale;

/// What a protocol and a workspace allow; plain values, so that rules need nothing else of ours.
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// The protocol's id, for messages.
    pub protocol: String,
    /// The form of counts that the protocol asks for.
    pub count_form: CountForm,
    /// Counts of a unit: six bracts a head. `None` leaves it open.
    pub counts_per_unit: Option<usize>,
    /// The most that one count can be: 1 where a unit is infested or not. `None` leaves it open.
    pub each_count_max: Option<u32>,
    /// Whether a trap's catch is divided by its nights.
    pub catch_by_night: bool,
    /// The stages of the crop.
    pub scale: StageScale,
    /// What the threshold of each crop type needs of the economics.
    pub economics_needed: BTreeMap<String, Vec<EconomicMember>>,
    /// Fewest sites that make a full sample.
    pub sites_min: usize,
    /// Fewest units of a site that make a full sample.
    pub units_per_site_min: usize,
    /// Crop types that the protocol knows.
    pub crop_types: Vec<String>,
    /// Currency of the plausible amounts, ISO 4217.
    pub currency: String,
    /// Plausible cost of one treatment, money per acre.
    pub treatment_cost_per_acre: (f64, f64),
    /// Plausible market value, money per pound.
    pub market_value_per_lb: (f64, f64),
    /// Plausible plants per acre.
    pub plants_per_acre: (f64, f64),
    /// Plausible area of a field, hectares.
    pub area_ha: (f64, f64),
}

impl Limits {
    /// What the threshold of a crop type needs of the economics.
    pub fn economics_needed(&self, crop_type: &str) -> &[EconomicMember] {
        self.economics_needed
            .get(crop_type)
            .map_or(&[], Vec::as_slice)
    }
}

/// The days of the year in which a workspace takes visits, both included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SeasonDays {
    /// Month and day of the first.
    pub first: (i8, i8),
    /// Month and day of the last.
    pub last: (i8, i8),
}
