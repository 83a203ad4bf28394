//! Valid visits, to be bent by a test.

use serde_json::{Value, json};

/// A valid visit in South Dakota (us:46), to be bent by a test.
pub fn visit(visit_id: &str) -> Value {
    json!({
        "schema_version": "1.0", "visit_id": visit_id, "revision": 1,
        "observed_on": "2026-07-21", "submitted_at": "2026-07-21T18:03:00Z", "observer_id": "obs-0123",
        "field": {"field_id": "F-000123", "lon": -100.12345, "lat": 44.12345, "area_ha": 62.4,
            "crop_type": "oilseed"},
        "protocol": "bsm-eggs", "crop_stage": "R3",
        "economics": {
            "treatment_cost": {"amount": 8.00, "per": "acre", "currency": "USD"},
            "market_value": {"amount": 0.16, "per": "lb", "currency": "USD"},
            "plant_population": {"count": 20000, "per": "acre"}},
        "sites": [{"site": 1, "heads": [[0, 1, 0, 2, 0, 0], [0, 0, 0, 0, 1, 0]]}]
    })
}

/// A valid visit with a full sample, so that it has no flag.
pub fn full_visit(visit_id: &str) -> Value {
    let mut visit = visit(visit_id);
    let heads = vec![vec![0, 1, 0, 2, 0, 0]; 5];
    visit["sites"] = (1..=4)
        .map(|site| json!({ "site": site, "heads": heads }))
        .collect();
    visit
}

/// Documents as NDJSON.
pub fn lines(documents: &[Value]) -> String {
    documents
        .iter()
        .map(|document| format!("{document}\n"))
        .collect()
}
