//! The economics that a threshold needs, and defaults that are assumed for it.

use scouting::protocol::catalogue::Catalogue;
use serde_json::json;

use super::{plain_visit, plants, stored};
use crate::support::{TestWorkspace, lines};

#[test]
fn a_threshold_asks_for_the_economics_that_it_needs_and_no_others() {
    let workspace = TestWorkspace::of_region("us:46");
    let heads = plants(5, &[0, 1, 2, 3, 4]);
    let oilseed = plain_visit(1, "rssw", ("oilseed", "R5.1"), heads.clone());
    let confection = plain_visit(2, "rssw", ("confection", "R5.1"), heads.clone());
    // What is given is judged even where it is not needed.
    let mut in_cents = plain_visit(3, "rssw", ("confection", "R5.1"), heads);
    in_cents["economics"] = json!({"market_value": {"amount": 16, "per": "lb", "currency": "USD"}});
    let account = workspace.load_text("week.ndjson", &lines(&[oilseed, confection, in_cents]));
    assert_eq!(
        (&account["accepted"], &account["held"]),
        (&json!(1), &json!(2)),
        "{account:#}"
    );
    let held = &account["submissions"][0]["held_records"];
    assert_eq!(held[0]["findings"][0]["code"], "economics-missing");
    assert_eq!(held[1]["findings"][0]["code"], "market-value-implausible");
    let catalogue = Catalogue::read(None, store::stages::expression::plan).expect("the catalog");
    let needed = |protocol: &str, crop_type: &str| {
        let limits = catalogue.protocol(protocol).expect("a protocol").limits();
        let needed = limits.economics_needed(crop_type).iter();
        needed.map(|member| member.name()).collect::<Vec<_>>()
    };
    let all = ["treatment_cost", "market_value", "plant_population"];
    assert_eq!(needed("bsm-eggs", "oilseed"), all);
    assert_eq!(needed("bsm-adults", "confection"), all);
    assert_eq!(needed("rssw", "dehull"), all);
    assert!(needed("rssw", "confection").is_empty());
    assert!(needed("wbc-sweet-corn", "processing").is_empty());
}

#[test]
fn defaults_are_assumed_only_where_a_threshold_rests_on_them() {
    let workspace = TestWorkspace::of_region("us:46");
    let settings = workspace.path().join("bractline.toml");
    let mut text = std::fs::read_to_string(&settings).expect("settings");
    for crop_type in ["oilseed", "confection"] {
        text += &format!(
            "\n[defaults.{crop_type}]\ntreatment_cost = {{ amount = 8.0, per = \"acre\", currency = \"USD\" }}\n\
             market_value = {{ amount = 0.1, per = \"lb\", currency = \"USD\" }}\n\
             plant_population = {{ count = 17000, per = \"acre\" }}\n"
        );
    }
    std::fs::write(&settings, text).expect("settings");
    let heads = plants(5, &[0, 1, 2, 3, 4]);
    let records = [
        plain_visit(1, "rssw", ("oilseed", "R5.1"), heads.clone()),
        plain_visit(2, "rssw", ("confection", "R5.1"), heads),
    ];
    let account = workspace.load_text("week.ndjson", &lines(&records));
    assert_eq!(account["accepted"], 2, "{account:#}");
    assert_eq!(
        stored(&workspace, "assumed, treatment_cost_per_ha is null"),
        [
            "rssw-1 treatment_cost market_value plant_population false",
            "rssw-2  true"
        ]
    );
}
