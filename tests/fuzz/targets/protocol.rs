//! Protocol files: what reads has a threshold that is a number above 0 wherever its bounds reach.

use std::path::Path;

use scouting::protocol::catalogue::Protocol;
use scouting::protocol::planned::ThresholdField;
use scouting::protocol::threshold::{threshold_of, worked_values};
use scouting::visit::record::Economics;
use serde_json::json;

use super::desk::told;

/// Looks at one protocol file.
pub fn look(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let Some(protocol) = told(Protocol::read(
        text,
        Path::new("input.toml"),
        store::stages::expression::plan,
    )) else {
        return;
    };
    assert_eq!(protocol.id, "input");
    let (first, last) = protocol.window().expect("a stage window lies on its scale");
    assert!(first <= last, "{first} to {last}");
    let written = serde_json::to_string(&protocol).expect("a protocol can be written out");
    assert!(written.contains("\"title\""), "{written}");
    let limits = protocol.limits();
    assert!(limits.sites_min > 0 && limits.units_per_site_min > 0);
    for corner in 0..CORNERS {
        let (economics, area_ha) = corner_of(&protocol, corner);
        for crop_type in &protocol.crop_types {
            let field = ThresholdField {
                economics: &economics,
                area_ha,
                crop_type,
                crop_stage: &protocol.stages.first,
            };
            let threshold = threshold_of(&protocol, &field);
            let threshold = threshold.unwrap_or_else(|failure| panic!("{failure}"));
            assert!(
                threshold.is_finite() && threshold > 0.0,
                "a threshold of {threshold} for {crop_type} at corner {corner}"
            );
        }
    }
    for value in told(worked_values(&protocol)).into_iter().flatten() {
        assert!(value.is_finite(), "a worked value of {value}");
    }
    if let Some(decline) = &protocol.edge_decline {
        for pressure in [0.5, 1.0, 1.5, 100.0] {
            let metres = decline.economic_distance_m(pressure);
            assert!(metres.is_finite() && metres >= 0.0, "{metres} m");
        }
    }
}

/// Corners of what a protocol calls plausible: cost, value, plants and area.
pub const CORNERS: usize = 16;

/// The economics of a field in a corner, and its hectares.
pub fn corner_of(protocol: &Protocol, corner: usize) -> (Economics, f64) {
    let side = |of: [f64; 2], place: u32| of[(corner >> place) & 1];
    let plausible = &protocol.plausible;
    let economics = serde_json::from_value(json!({
        "treatment_cost": {"amount": side(plausible.treatment_cost_per_acre, 0), "per": "acre",
            "currency": plausible.currency},
        "market_value": {"amount": side(plausible.market_value_per_lb, 1), "per": "lb",
            "currency": plausible.currency},
        "plant_population": {"count": side(plausible.plants_per_acre, 2), "per": "acre"},
    }));
    (economics.expect("economics"), side(plausible.area_ha, 3))
}
