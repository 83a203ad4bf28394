//! Crop stages, read on the scale of the protocol's own crop.

use serde_json::json;

use super::{plain_visit, plants, stored};
use crate::support::{TestWorkspace, full_visit, lines};

#[test]
fn a_stage_is_read_on_the_scale_of_its_own_crop() {
    let workspace = TestWorkspace::of_region("us:46");
    let corn = |field: u32, stage: &str| {
        plain_visit(
            field,
            "wbc-egg-masses",
            ("field-corn", stage),
            plants(5, &[0; 20]),
        )
    };
    let mut sunflower = full_visit("eggs");
    sunflower["crop_stage"] = json!("VT");
    let records = [
        corn(1, "R5.1"),
        corn(2, "R7"),
        sunflower,
        corn(3, "R2"),
        corn(4, "v-12"),
    ];
    let account = workspace.load_text("week.ndjson", &lines(&records));
    assert_eq!(
        (&account["accepted"], &account["held"]),
        (&json!(2), &json!(3)),
        "{account:#}"
    );
    for (place, expected) in [(0, "VT, R1, R2"), (1, "VT, R1, R2"), (2, "R5.0 to R5.9")] {
        let finding = &account["submissions"][0]["held_records"][place]["findings"][0];
        assert_eq!(finding["code"], "stage-unknown");
        let said = finding["expected"].as_str().expect("a sentence");
        assert!(said.contains(expected), "{said}");
    }
    assert_eq!(
        stored(&workspace, "crop_stage, crop_stage_stated"),
        ["wbc-egg-masses-3 R2 R2", "wbc-egg-masses-4 V12 v-12"]
    );
}

#[test]
fn a_crop_does_not_grow_backwards_on_a_listed_scale_either() {
    let workspace = TestWorkspace::of_region("us:46");
    let visit = |number: u32, day: u32, stage: &str| {
        let mut visit = plain_visit(
            1,
            "wbc-egg-masses",
            ("field-corn", stage),
            plants(5, &[0; 20]),
        );
        visit["visit_id"] = json!(format!("corn-{number}"));
        visit["observed_on"] = json!(format!("2026-07-{day}"));
        visit["submitted_at"] = json!(format!("2026-07-{day}T20:00:00Z"));
        visit
    };
    workspace.load_text("first.ndjson", &lines(&[visit(1, 10, "R1")]));
    let account = workspace.load_text(
        "second.ndjson",
        &lines(&[visit(2, 17, "V9"), visit(3, 18, "R2")]),
    );
    assert_eq!(
        account["submissions"][0]["flags"]["stage-backwards"], 1,
        "{account:#}"
    );
    // Sunflower on the same land is another crop: nothing is compared.
    let mut eggs = full_visit("eggs");
    eggs["field"]["field_id"] = json!("F-1");
    let account = workspace.load_text("third.ndjson", &eggs.to_string());
    assert_eq!(
        account["submissions"][0]["flags"].get("stage-backwards"),
        None,
        "{account:#}"
    );
}
