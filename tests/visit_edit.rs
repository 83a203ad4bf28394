//! One visit: shown with its revisions, and changed by a next one that is judged as every submission is.

use serde_json::{Value, json};

use crate::support::{Run, TestWorkspace, lines};
use crate::undo::{load_from, sql, visit};

fn edit(workspace: &TestWorkspace, more: &[&str]) -> Run {
    let arguments = [
        "visit",
        "edit",
        "v-1",
        "--reason",
        "by telephone",
        "--by",
        "office",
    ];
    workspace.run(&[&arguments, more].concat())
}

#[test]
fn a_visit_is_shown_with_every_revision_and_where_it_counts() {
    let workspace = TestWorkspace::of_region("us:46");
    load_from(&workspace, "north", "1.ndjson", &[visit(1)]);
    let mut second = visit(1);
    second["revision"] = json!(2);
    second["field"]["area_ha"] = json!(50);
    load_from(&workspace, "south", "2.ndjson", &[second]);
    let shown = workspace
        .run(&["visit", "show", "v-1", "--format", "json"])
        .expect_code(0)
        .json();
    assert_eq!(shown["revisions"].as_array().unwrap().len(), 2);
    assert_eq!(shown["revisions"][1]["sender"], "south");
    assert_eq!(shown["revisions"][1]["load"]["file_name"], "2.ndjson");
    assert_eq!(shown["counts_in"]["visits_of_field"], json!(["v-1"]));
    let record: Value = shown["revisions"][0]["record"].clone();
    let mut sent = visit(1);
    // 8 and 8.0 are one number, and JSON writes two.
    sent["economics"] = record["economics"].clone();
    assert_eq!(record, sent, "the record as it was sent");
    let text = workspace
        .run(&["visit", "show", "v-1"])
        .expect_code(0)
        .stdout;
    for piece in [
        "it counts in week 2026-W30 of county ",
        "revision 1 (superseded)",
        "revision 2 (current)",
        " from south, 2.ndjson line 1, load ",
        "/field/area_ha: 62.4 → 50",
    ] {
        assert!(text.contains(piece), "{piece} in {text}");
    }
    workspace.run(&["visit", "show", "v-9"]).expect_code(1);
}

#[test]
fn an_edit_is_a_next_revision_with_who_and_why() {
    let workspace = TestWorkspace::of_region("us:46");
    load_from(&workspace, "north", "1.ndjson", &[visit(1)]);
    let set = ["--set", "/field/area_ha=65", "--set", "/remarks=seen again"];
    let preview = edit(&workspace, &[&set[..], &["--dry-run"]].concat()).expect_code(0);
    assert!(
        preview.stdout.contains("would be stored"),
        "{}",
        preview.stdout
    );
    assert_eq!(sql(&workspace, "select visit_id from visits").len(), 1);
    let text = edit(&workspace, &set).expect_code(0).stdout;
    for piece in [
        "revision 2 of v-1",
        "/field/area_ha: 62.4 → 65",
        "/remarks: not given → seen again",
    ] {
        assert!(text.contains(piece), "{piece} in {text}");
    }
    let rows = sql(
        &workspace,
        "select revision, area_ha, remarks, sender from visits order by revision",
    );
    assert_eq!(
        rows[1],
        json!({"revision": 2, "area_ha": 65.0, "remarks": "seen again", "sender": "north"})
    );
    let receipts = sql(
        &workspace,
        "select file_name, who, reason, sender from receipts order by load_id",
    );
    assert_eq!(
        receipts[1],
        json!({"file_name": "edit of v-1", "who": "office", "reason": "by telephone", "sender": null})
    );
    edit(&workspace, &["--remove", "/remarks"]).expect_code(0);
    workspace.run(&["store", "verify"]).expect_code(0);
}

#[test]
fn an_edit_that_no_submission_could_bring_is_refused_and_changes_nothing() {
    let workspace = TestWorkspace::of_region("us:46");
    load_from(&workspace, "north", "1.ndjson", &[visit(1)]);
    for (set, reason) in [
        ("/field/colour=green", "colour"),
        ("/colour=green", "colour"),
        ("/field/lat=10", "outside-region"),
        ("/crop_stage=R77", "crop"),
        ("/sites/0/heads/0/0=-1", "whole number"),
        ("/protocol=unheard-of", "protocol-unknown"),
        ("/observed_on=2026-12-24", "2026-12-24"),
        ("/field/area_ha=62.4", "these values already"),
    ] {
        let refused = edit(&workspace, &["--set", set]).expect_code(1);
        assert!(refused.stderr.contains(reason), "{set}: {}", refused.stderr);
        edit(&workspace, &["--set", set, "--dry-run"]).expect_code(1);
    }
    for usage in [
        &["--set", "/visit_id=v-2"][..],
        &["--set", "area_ha=3"],
        &[],
    ] {
        edit(&workspace, usage).expect_code(2);
    }
    assert_eq!(sql(&workspace, "select load_id from receipts").len(), 1);
    assert_eq!(sql(&workspace, "select held.line from held").len(), 0);
    workspace.run(&["store", "verify"]).expect_code(0);
}

#[test]
fn every_form_of_counts_comes_back_from_the_store_as_it_was_sent() {
    let workspace = TestWorkspace::of_region("us:46");
    let mut traps = visit(1);
    traps["protocol"] = json!("sunflower-moth-traps");
    traps["sites"] = json!([{"site": 3, "side": "N", "lon": -100.2, "lat": 44.12,
        "traps": [{"catch": 4, "nights": 7}, {"catch": 0, "nights": 6}]}]);
    traps["remarks"] = json!("it's \"odd\"");
    traps["submitted_at"] = json!("2026-07-22T01:30:00.5+02:00");
    let mut plants = visit(2);
    plants["protocol"] = json!("stem-weevil");
    plants["sites"] = json!([{"site": 1, "plants": [0, 3, 1]}, {"site": 2, "plants": [2]}]);
    plants["field"]["farm_id"] = json!("farm ' 1");
    plants.as_object_mut().unwrap().remove("economics");
    workspace.load_text("forms.ndjson", &lines(&[traps.clone(), plants.clone()]));
    let accepted = sql(&workspace, "select visit_id from visits");
    for row in accepted {
        let id = row["visit_id"].as_str().unwrap();
        let shown = workspace
            .run(&["visit", "show", id, "--format", "json"])
            .json();
        let record = &shown["revisions"][0]["record"];
        let sent = if id == "v-1" { &traps } else { &plants };
        for member in [
            "sites",
            "field",
            "remarks",
            "protocol",
            "observed_on",
            "crop_stage",
        ] {
            assert_eq!(record.get(member), sent.get(member), "{member} of {id}");
        }
    }
}
