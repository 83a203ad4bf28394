//! Visits of several pests in one week, and a workspace that holds them.

use scouting::region::Region;
use serde_json::{Value, json};

use crate::support::issuing::{COUNTIES, visits};
use crate::support::{TestWorkspace, lines};

/// The protocols of these visits, in the order of their ids.
pub const PESTS: [&str; 3] = ["bsm-eggs", "rssw", "sunflower-moth-traps"];

/// The week of [`DAY`], and the day in it.
pub const WEEK: &str = "2026-W30";
pub const DAY: &str = "2026-07-21";

/// Visits of one of [`PESTS`] to so many fields of a county on a day. Fields of two pests are different fields.
pub fn of_pest(region: &Region, pest: &str, county: &str, fields: usize, day: &str) -> Vec<Value> {
    let mut all = visits(region, county, fields, day, 1);
    let (crop_type, stage, sites) = match pest {
        "rssw" => {
            let sites = (1..=5).map(|site| json!({ "site": site, "plants": [0, 1, 2, 3, 4] }));
            ("confection", "R5.1", sites.collect())
        }
        "sunflower-moth-traps" => {
            let traps = json!([{ "site": 1, "traps": [{ "catch": 28, "nights": 7 }] }]);
            ("oilseed", "R5.1", traps)
        }
        _ => ("oilseed", "R3", Value::Null),
    };
    for visit in &mut all {
        for id in ["/visit_id", "/field/field_id", "/field/farm_id"] {
            let member = visit.pointer_mut(id).expect("an id");
            *member = format!("{}-{pest}", member.as_str().expect("text")).into();
        }
        visit["protocol"] = pest.into();
        visit["crop_stage"] = stage.into();
        visit["field"]["crop_type"] = crop_type.into();
        if !sites.is_null() {
            visit["sites"] = sites.clone();
        }
    }
    all
}

/// Visits of these pests to four fields in each of three counties.
pub fn of_pests(pests: &[&str]) -> Vec<Value> {
    let region = Region::built_in("us:46").expect("South Dakota");
    let mut all = Vec::new();
    for pest in pests {
        for county in COUNTIES {
            all.extend(of_pest(&region, pest, county, 4, DAY));
        }
    }
    all
}

/// Loads visits, all of which are accepted.
pub fn load(workspace: &TestWorkspace, name: &str, visits: &[Value]) {
    let account = workspace.load_text(name, &lines(visits));
    assert_eq!(account["accepted"], visits.len(), "{account:#}");
}

/// A workspace of South Dakota with a week of these pests, and the week before of the first of them.
pub fn weeks_of(pests: &[&str]) -> TestWorkspace {
    let workspace = TestWorkspace::of_region("us:46");
    let region = Region::built_in("us:46").expect("South Dakota");
    let before = of_pest(&region, pests[0], COUNTIES[0], 4, "2026-07-14");
    load(&workspace, "before.ndjson", &before);
    load(&workspace, "week.ndjson", &of_pests(pests));
    workspace
}
