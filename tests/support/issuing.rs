//! Visits of several counties, and a workspace that holds a week of them.

use geo::InteriorPoint;
use scouting::region::Region;
use serde_json::{Value, json};

use crate::support::{TestWorkspace, full_visit, lines};

/// Counties of South Dakota with enough fields.
pub const COUNTIES: [&str; 3] = ["46013", "46015", "46065"];

/// Visits of `fields` fields of a county on a day, each of a farm of its own, a few hundred meters apart.
pub fn visits(region: &Region, county: &str, fields: usize, day: &str, eggs: usize) -> Vec<Value> {
    let county = region.county(county).expect("a county of the region");
    let (lon, lat) = county.shape.interior_point().expect("an inside").x_y();
    let of_field = |field: usize| {
        let mut visit = full_visit(&format!("visit-{}-{field}-{day}", county.id));
        visit["observed_on"] = day.into();
        visit["submitted_at"] = format!("{day}T18:00:00Z").into();
        visit["observer_id"] = format!("scout-{}-{field}", county.id).into();
        visit["field"]["field_id"] = format!("F-{}-{field}", county.id).into();
        visit["field"]["farm_id"] = format!("farm-{}-{field}", county.id).into();
        visit["field"]["lon"] = (lon + 0.000_371 + 0.001 * field as f64).into();
        visit["field"]["lat"] = (lat + 0.000_119).into();
        let heads = vec![vec![eggs + field, 0, 1, 0, 0, 0]; 5];
        let sites = (1..=4).map(|site| json!({ "site": site, "heads": heads }));
        visit["sites"] = sites.collect();
        visit
    };
    (0..fields).map(of_field).collect()
}

/// A workspace of South Dakota with two weeks of visits.
pub fn loaded() -> (TestWorkspace, Vec<Value>) {
    let region = Region::built_in("us:46").expect("South Dakota");
    let mut all = Vec::new();
    for (day, eggs) in [("2026-07-14", 0), ("2026-07-21", 1)] {
        for county in COUNTIES {
            all.extend(visits(&region, county, 4, day, eggs));
        }
        all.extend(visits(&region, "46099", 2, day, 3));
    }
    let workspace = TestWorkspace::of_region("us:46");
    let account = workspace.load_text("visits.ndjson", &lines(&all));
    assert_eq!(account["accepted"], all.len(), "{account:#}");
    (workspace, all)
}
