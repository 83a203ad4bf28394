//! What the trade rules are held against: the limits of a protocol, and the season of a workspace.

use std::collections::BTreeMap;

use crate::protocol::windows::CountTiming;
use crate::visit::economics::EconomicMember;
use crate::visit::record::CountForm;
use crate::visit::stage::StageScale;
use crate::visit::zones::Zones;

/// What a protocol and a workspace allow; plain values, so that rules need nothing else of ours.
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// The protocol's id, for messages.
    pub protocol: String,
    /// The form of counts that the protocol asks for.
    pub count_form: CountForm,
    /// Counts of a unit: six bracts per head. `None` leaves it open.
    pub counts_per_unit: Option<usize>,
    /// Whether one total for each head is taken too, in the form of plants.
    pub unit_totals: bool,
    /// The most that one count can be: 1 where a unit is infested or not. `None` leaves it open.
    pub each_count_max: Option<u32>,
    /// Whether a trap's catch is divided by its nights.
    pub catch_by_night: bool,
    /// Zones of the field that the plan samples apart; mostly none.
    pub zones: Zones,
    /// The stages of the crop.
    pub scale: StageScale,
    /// What the threshold of each crop type needs of the economics.
    pub economics_needed: BTreeMap<String, Vec<EconomicMember>>,
    /// Fewest sites that make a full sample.
    pub sites_min: usize,
    /// Hectares from which on a full sample has more sites, and how many, by area.
    pub sites_by_area: Vec<(f64, usize)>,
    /// Where counts are early, or late for treatment.
    pub count_timing: CountTiming,
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
    /// Days after a treatment in which a count says nothing about pressure.
    pub after_treatment_days: u8,
    /// Plausible counts of a unit, where the protocol says them.
    pub count_bounds: Option<CountBounds>,
}

/// From which count of one unit on a visit is doubtful.
#[derive(Debug, Clone, PartialEq)]
pub struct CountBounds {
    /// The protocol's id, for messages.
    pub protocol: String,
    /// What a unit's count is of: `eggs per six bracts of a bud`.
    pub counted: String,
    /// A visit with a unit of so many or more is flagged.
    pub strange: f64,
    /// A visit with a unit of so many or more is held.
    pub impossible: f64,
}

impl Limits {
    /// Whether the protocol takes counts in a form.
    pub(in crate::visit) fn takes_form(&self, form: Option<CountForm>) -> bool {
        form == Some(self.count_form) || self.unit_totals && form == Some(CountForm::Plants)
    }

    /// Fewest sites that make a full sample of a field of this area.
    pub fn sites_least(&self, area_ha: f64) -> usize {
        let mut steps = self.sites_by_area.iter().rev();
        let reached = steps.find(|(from_ha, _)| area_ha >= *from_ha);
        reached.map_or(self.sites_min, |(_, sites)| *sites)
    }

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

#[cfg(test)]
pub(in crate::visit) mod tests {
    use super::*;

    #[test]
    fn a_full_sample_of_a_large_field_has_more_sites() {
        let limits = limits_with(1.0, 2.0);
        for (area_ha, sites) in [
            (0.5, 1),
            (59.9, 1),
            (60.0, 2),
            (119.0, 2),
            (120.0, 3),
            (1e6, 3),
        ] {
            assert_eq!(limits.sites_least(area_ha), sites, "{area_ha}");
        }
    }

    /// Limits of eggs on six bracts, with bounds of a unit's count.
    pub(in crate::visit) fn limits_with(strange: f64, impossible: f64) -> Limits {
        Limits {
            protocol: "bsm-eggs".to_owned(),
            count_form: CountForm::Heads,
            counts_per_unit: Some(6),
            unit_totals: true,
            each_count_max: None,
            catch_by_night: false,
            zones: Zones::default(),
            scale: StageScale::default(),
            economics_needed: BTreeMap::new(),
            sites_min: 1,
            sites_by_area: vec![(60.0, 2), (120.0, 3)],
            count_timing: CountTiming::default(),
            units_per_site_min: 1,
            crop_types: vec!["oilseed".to_owned()],
            currency: "USD".to_owned(),
            treatment_cost_per_acre: (0.5, 120.0),
            market_value_per_lb: (0.01, 4.0),
            plants_per_acre: (1_500.0, 200_000.0),
            area_ha: (0.1, 4_000.0),
            after_treatment_days: 14,
            count_bounds: Some(CountBounds {
                protocol: "bsm-eggs".to_owned(),
                counted: "eggs per six bracts of a bud".to_owned(),
                strange,
                impossible,
            }),
        }
    }
}
