//! What alerts and sheets say of a protocol's level follows its kind: no survey speaks of a threshold or of treating, no
//! fixed value of costs and prices.

use bractline::count_sheet::page::count_sheet_page;
use bractline::count_sheet::words::SheetOptions;
use bractline::shared::shown_numbers::Units;
use jiff::civil::date;
use scouting::protocol::catalogue::Catalogue;
use scouting::region::Region;
use serde_json::{Value, json};

use super::plants;
use crate::support::issuing::{COUNTIES, visits};
use crate::support::{TestWorkspace, bractline, full_visit, lines};

/// The alert of six fields in each county: its page and its text, without their cautions.
fn alert_of(protocol: &str, (crop_type, stage): (&str, &str), sites: &Value) -> [String; 2] {
    let region = Region::built_in("us:46").expect("South Dakota");
    let mut all: Vec<Value> = COUNTIES
        .iter()
        .flat_map(|county| visits(&region, county, 6, "2026-07-21", 3))
        .collect();
    for visit in &mut all {
        visit["protocol"] = json!(protocol);
        visit["crop_stage"] = json!(stage);
        visit["field"]["crop_type"] = json!(crop_type);
        if !sites.is_null() {
            visit["sites"] = sites.clone();
        }
    }
    let workspace = TestWorkspace::of_region("us:46");
    let account = workspace.load_text("week.ndjson", &lines(&all));
    assert_eq!(account["accepted"], all.len(), "{account:#}");
    workspace
        .run(&["alert", "--week", "2026-W30", "--protocol", protocol])
        .expect_code(0);
    let folder = workspace.path().join("alerts/2026-W30").join(protocol);
    ["alert.html", "alert.md"].map(|name| {
        let text = std::fs::read_to_string(folder.join(name)).expect("a file of the alert");
        let text = text.split("</style>").last().expect("a part");
        let text = text.split("\n## Cautions").next().expect("a part");
        let text = match text.split_once("<section class=\"mind\">") {
            Some((before, after)) => {
                let (_, after) = after.split_once("</section>").expect("its end");
                format!("{before} {after}")
            }
            None => text.to_owned(),
        };
        let words: Vec<&str> = text.split_whitespace().collect();
        words.join(" ").replace("&#39;", "'")
    })
}

fn traps(catch: u32, nights: u32) -> Value {
    json!([{"site": 1, "traps": [{"catch": catch, "nights": nights}]}])
}

#[test]
fn an_alert_of_a_trap_survey_speaks_of_a_risk_level_and_of_scouting() {
    for (protocol, crop, sites, next) in [
        (
            "bertha-armyworm-traps",
            ("canola", "flowering"),
            traps(950, 30),
            "What to do next: scout for larvae",
        ),
        (
            "sunflower-moth-traps",
            ("oilseed", "R5.1"),
            traps(35, 7),
            "What to do next: scout the heads for moths",
        ),
    ] {
        for text in alert_of(protocol, crop, &sites) {
            for says in ["at the risk level", "survey sites", next, "scout"] {
                assert!(text.contains(says), "{protocol}: {says}: {text}");
            }
            // The one word of a source that calls its level a threshold is quoted, and once a page.
            let quoted = text
                .matches("Its source calls that level economic threshold")
                .count()
                + text.matches("called an economic threshold").count();
            let thresholds = text
                .replace("at-threshold", "")
                .matches("threshold")
                .count();
            assert_eq!(thresholds, quoted, "{protocol}: {text}");
            for never in [
                "reatment timing",
                "to treat",
                "Consider treatment",
                "treatment recommendation",
            ] {
                assert!(!text.contains(never), "{protocol}: {never}: {text}");
            }
        }
    }
}

#[test]
fn a_fixed_threshold_is_not_said_to_follow_from_costs_and_prices() {
    for (protocol, crop, name) in [
        ("stem-weevil", ("oilseed", "V9"), "economic threshold"),
        (
            "lygus-confection",
            ("dehull", "R4"),
            "economic injury level",
        ),
        ("wbc-egg-masses", ("field-corn", "V16"), "action threshold"),
        ("wbc-sweet-corn", ("fresh-market", "VT"), "action threshold"),
    ] {
        let sites = plants(5, &[1; 20]);
        for text in alert_of(protocol, crop, &sites) {
            assert!(
                text.contains(&format!("the {name} (a fixed value")),
                "{protocol}: {text}"
            );
            assert!(
                text.contains(&format!("at or above the {name}")),
                "{protocol}: {text}"
            );
            let own = [format!("its own {name}"), format!("their own {name}")];
            for never in [
                "computed from the field",
                "equals the cost of treatment; ",
                own[0].as_str(),
                own[1].as_str(),
            ] {
                assert!(!text.contains(never), "{protocol}: {never}: {text}");
            }
        }
    }
}

#[test]
fn an_alert_of_eggs_keeps_the_level_of_injury_apart_and_asks_for_a_recount() {
    let [page, text] = alert_of("bsm-eggs", ("oilseed", "R2"), &Value::Null);
    for said in [&page, &text] {
        for says in [
            "their own economic injury level",
            "an economic threshold, at which to act, is lower",
            "R2 18",
            "A count before R3 is early and reads low",
            "count the same field again at R3",
            "Consider treatment only if that field's own count is at or above its own economic injury level",
        ] {
            let said = said.replace("<strong>", "").replace("</strong>", "");
            assert!(said.contains(says), "{says}: {said}");
        }
        assert_eq!(said.matches("at which to act, is lower").count(), 1);
        assert!(!said.contains("is to be treated"));
    }
    for says in [
        "Eggs hatch 5 to 8 days after they are laid.",
        "they begin to hatch at once, and the last of them hatch within 8 days of the visit",
        "Counts are taken at R2–R3; treatment works at R5.1.",
    ] {
        assert!(page.contains(says), "{says}: {page}");
    }
}

#[test]
fn resistance_is_at_the_top_for_the_seed_weevil_and_late_counts_are_called_late() {
    let sites = plants(5, &[2; 5]);
    let [page, text] = alert_of("rssw", ("confection", "R5.6"), &sites);
    for said in [&page, &text] {
        let caution = said
            .find("resistance to pyrethroids was confirmed")
            .expect("the caution");
        let lead = said.find("scouts sampled").expect("the lead");
        assert!(caution < lead, "{said}");
        assert!(said.contains("A count after R5.4 is late"), "{said}");
    }
    let [eggs, _] = alert_of("bsm-eggs", ("oilseed", "R3"), &Value::Null);
    assert!(
        !eggs.contains("resistance") && !eggs.contains("is late"),
        "{eggs}"
    );
}

#[test]
fn a_sheet_begins_with_the_scouts_safety_and_says_how_many_sites_a_field_needs() {
    let catalogue = Catalogue::read(None, store::stages::expression::plan).expect("the catalog");
    let options = SheetOptions {
        visits: 1,
        sites: None,
        totals_only: false,
        units: Units::Us,
        season: (date(2026, 6, 1), date(2026, 9, 30)),
        program: "bractline 0.1.0".to_owned(),
    };
    for protocol in catalogue.protocols() {
        let page = count_sheet_page(protocol, &options).expect("a page");
        let place = |piece: &str| {
            page.find(piece)
                .unwrap_or_else(|| panic!("{piece}: {page}"))
        };
        let safety = place("Your own safety first");
        assert!(safety < place("<h2>Scouting</h2>"), "{}", protocol.id);
        for says in [
            "planned sprays",
            "posted signs",
            "aircraft",
            "crop advisors",
            "thunder",
            "Tell somebody",
        ] {
            assert!(page.contains(says), "{}: {says}", protocol.id);
        }
        assert_eq!(
            page.contains("Cautions: before anyone treats"),
            protocol.timing.next_step.is_none(),
            "{}",
            protocol.id
        );
    }
    let eggs = catalogue.protocol("bsm-eggs").expect("in it");
    let page = count_sheet_page(eggs, &options).expect("a page");
    for says in [
        "in a larger field 8 from 158 acres, 12 from 356 acres and 16 from 633 acres",
        "A count before R3 is early and reads low",
    ] {
        assert!(page.contains(says), "{says}: {page}");
    }
}

#[test]
fn a_protocols_page_says_what_its_kind_means_only_where_it_does() {
    let page = |id: &str| {
        let page = bractline(&["protocols", "show", id]).expect_code(0).stdout;
        page.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    for (id, says) in [
        (
            "bsm-eggs",
            "the density at which the loss equals the cost of treatment; an economic threshold",
        ),
        ("bsm-eggs", "works at crop stage R5.1"),
        ("rssw", "economic threshold: the density at which to act"),
        ("rssw", "works at crop stages R5.0 to R5.4"),
        (
            "lygus-confection",
            "economic injury level, as its source calls it: a fixed value",
        ),
        (
            "wbc-egg-masses",
            "action threshold: the density at which practice acts",
        ),
        ("bertha-armyworm-traps", "it is no threshold for any field"),
        ("bertha-armyworm-traps", "What to do next: scout for larvae"),
        ("bsm-adults", "a minimum set by this program"),
    ] {
        assert!(page(id).contains(says), "{id}: {says}: {}", page(id));
    }
    assert!(!page("lygus-confection").contains("the loss equals the cost"));
}

#[test]
fn a_dehulled_crop_is_taken_for_lygus_and_sweet_corn_has_its_own_protocol() {
    let catalogue = Catalogue::read(None, store::stages::expression::plan).expect("the catalog");
    let types = |id: &str| catalogue.protocol(id).expect("in it").crop_types.clone();
    assert_eq!(types("lygus-confection"), ["confection", "dehull"]);
    assert_eq!(types("wbc-egg-masses"), ["field-corn"]);
    assert_eq!(types("wbc-sweet-corn"), ["processing", "fresh-market"]);
    let eggs = catalogue.protocol("bsm-eggs").expect("in it").limits();
    // A quarter section is 64.75 ha: two spans of 400 m on each of four sides.
    for (area_ha, sites) in [(20.0, 4), (63.9, 4), (64.75, 8), (143.0, 8), (259.0, 16)] {
        assert_eq!(eggs.sites_least(area_ha), sites, "{area_ha}");
    }
    let workspace = TestWorkspace::of_region("us:46");
    for (area_ha, flags) in [(63.9, json!({})), (64.75, json!({"too-few-sites": 1}))] {
        let mut visit = full_visit(&format!("v-{area_ha}"));
        visit["field"]["field_id"] = json!(format!("F-{area_ha}"));
        visit["field"]["area_ha"] = json!(area_ha);
        let account = workspace.load_text(&format!("{area_ha}.ndjson"), &lines(&[visit]));
        assert_eq!(account["accepted"], 1, "{account:#}");
        let mut found = account["submissions"][0]["flags"].clone();
        let found = found.as_object_mut().expect("flags");
        found.retain(|code, _| code.starts_with("too-few"));
        assert_eq!(json!(found), flags, "{area_ha}");
    }
}
