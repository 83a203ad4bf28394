//! Whose field a visit is of: two senders who number alike, and prefixes that keep their ids apart.

use serde_json::{Value, json};

use crate::support::held_desk::{export, open};
use crate::support::mended::WIDE;
use crate::support::{TestWorkspace, counts, received, text_of};
use crate::undo::{load_from, sql, visit};

const SETTINGS: &str = "[senders.north]\nfield_prefix = \"N-\"\nscout_prefix = \"N-\"\n\n[flags]\n";

/// A visit of the field and point of another one, by a scout of its own.
fn of_field(visit_id: &str, field: u32, point: u32) -> Value {
    let mut other = visit(field);
    other["visit_id"] = json!(visit_id);
    other["observer_id"] = json!(format!("o-{visit_id}"));
    other["field"]["lon"] = visit(point)["field"]["lon"].clone();
    other
}

fn with_prefixes() -> TestWorkspace {
    let workspace = TestWorkspace::of_region("us:46");
    workspace.change_setting("[flags]\n", SETTINGS);
    workspace
}

// --- Two senders ---------------------------------------------------------------------------------

#[test]
fn a_field_that_two_senders_visit_is_flagged_and_two_fields_of_one_number_are_not_mixed() {
    let workspace = TestWorkspace::of_region("us:46");
    load_from(&workspace, "north", "n.ndjson", &[visit(1), visit(2)]);
    let near = load_from(&workspace, "south", "near.ndjson", &[of_field("s-1", 1, 1)]);
    assert_eq!(counts(&near), received(1).accepted(1));
    let doubts = &near["submissions"][0]["flagged_records"][0]["findings"];
    assert_eq!(doubts[0]["code"], "field-of-another-sender", "{near}");
    let found = doubts[0]["found"].as_str().unwrap();
    assert!(
        found.contains("north") && found.contains("south"),
        "{found}"
    );

    let far = load_from(&workspace, "south", "far.ndjson", &[of_field("s-2", 2, 4)]);
    assert_eq!(counts(&far), received(1).held(1));
    let finding = &far["submissions"][0]["held_records"][0]["findings"][0];
    assert_eq!(finding["code"], "field-numbered-alike", "{far}");
    let expected = finding["expected"].as_str().unwrap();
    assert!(
        expected.contains("[senders.\"south\"] field_prefix") && expected.contains("fieldPrefix"),
        "{expected}"
    );

    // Neither the first sender itself nor a sender without a name raises the doubt.
    let own = load_from(&workspace, "north", "own.ndjson", &[of_field("n-9", 2, 2)]);
    let unknown = workspace.load_text("unknown.ndjson", &of_field("u-2", 2, 2).to_string());
    for account in [own, unknown] {
        assert_eq!(counts(&account), received(1).accepted(1), "{account}");
        assert_eq!(
            account["submissions"][0]["flags"]["field-of-another-sender"],
            Value::Null
        );
    }
}

/// A letter to one sender says nothing of what the other one reported.
#[test]
fn a_letter_about_a_field_numbered_alike_does_not_name_the_other_sender() {
    let workspace = TestWorkspace::of_region("us:46");
    load_from(&workspace, "north", "n.ndjson", &[visit(2)]);
    load_from(&workspace, "south", "far.ndjson", &[of_field("s-2", 2, 4)]);
    let out = workspace.beside("letters");
    workspace
        .run(&["held", "export", "--out", &text_of(&out)])
        .expect_code(0);
    let mut letters = 0;
    for file in std::fs::read_dir(&out).unwrap() {
        let path = file.unwrap().path();
        if let Ok(text) = std::fs::read_to_string(&path) {
            assert!(!text.contains("north"), "{}: {text}", path.display());
            letters += usize::from(text.contains("which another sender uses too"));
        }
    }
    assert!(letters > 0);
}

// --- Prefixes ------------------------------------------------------------------------------------

#[test]
fn a_prefix_of_the_settings_is_put_before_the_ids_of_records_once() {
    let workspace = with_prefixes();
    let mut has_it = of_field("n-2", 2, 2);
    has_it["field"]["field_id"] = json!("N-f-2");
    let visits = [visit(1), has_it];
    let account = load_from(&workspace, "north", "n.ndjson", &visits);
    assert_eq!(counts(&account), received(2).accepted(2));
    assert_eq!(
        account["submissions"][0]["id_prefixes"],
        json!({"field": "N-", "scout": "N-"})
    );
    let again = load_from(&workspace, "north", "n.ndjson", &visits);
    assert_eq!(counts(&again), received(2).duplicate(2));
    let far = load_from(&workspace, "south", "s.ndjson", &[of_field("s-1", 1, 4)]);
    assert_eq!(counts(&far), received(1).accepted(1), "{far}");
    let ids = sql(
        &workspace,
        "select field_id, observer_id from visits order by visit_id",
    );
    assert_eq!(
        ids,
        [
            json!({"field_id": "N-f-2", "observer_id": "N-o-n-2"}),
            json!({"field_id": "f-1", "observer_id": "o-s-1"}),
            json!({"field_id": "N-f-1", "observer_id": "N-o-1"}),
        ]
    );
    // What is wrong with an id is wrong behind a prefix.
    let mut mark = visit(5);
    mark["field"]["field_id"] = json!("?");
    let held = load_from(&workspace, "north", "mark.ndjson", &[mark]);
    assert_eq!(counts(&held), received(1).held(1));
    // An edit is of the visit as it is stored.
    let set = [
        "visit",
        "edit",
        "v-1",
        "--set",
        "/field/area_ha=41.5",
        "--reason",
        "x",
    ];
    workspace.run(&set).expect_code(0);
    workspace.run(&["store", "verify"]).expect_code(0);
}

/// A sheet with a good visit and one whose stage no scale has.
fn sheet() -> String {
    let text = std::fs::read_to_string("sample_data/mappings/wide.csv").expect("the sample");
    let rows: Vec<&str> = text.lines().collect();
    let wrong = rows[4]
        .replace("F-9002", "F-9004")
        .replace("44.75", "44.95")
        .replace(",R2,", ",R77,");
    [&rows[..3], &[rows[4], &wrong]].concat().join("\r\n") + "\r\n"
}

/// Whether settings or the mapping put the prefix, and in whichever form the held record comes back, with the prefix or
/// without, its visit has one identity.
#[test]
fn a_held_record_that_comes_back_gets_its_prefix_once() {
    let mapping = std::fs::read_to_string(WIDE).expect("the sample");
    let putting = mapping.replace(
        "prefix = \"invented\"",
        "prefix = \"invented\"\nfieldPrefix = \"N-\"\nscoutPrefix = \"N-\"",
    );
    for by_settings in [true, false] {
        for (form, ending) in [("csv", ".visits.csv"), ("ndjson", ".ndjson")] {
            for written in ["F-9004", "N-F-9004"] {
                let way = format!("{by_settings} {form} {written}");
                let (workspace, text) = match by_settings {
                    true => (with_prefixes(), &mapping),
                    false => (TestWorkspace::of_region("us:46"), &putting),
                };
                let file = text_of(&workspace.write("wide.csv", sheet()));
                let map = text_of(&workspace.write("wide.toml", text));
                let arguments = [
                    "load",
                    &file,
                    "--mapping",
                    &map,
                    "--sender",
                    "north",
                    "--format",
                    "json",
                ];
                let first = workspace.run(&arguments).json();
                assert_eq!(counts(&first), received(2).accepted(1).held(1), "{way}");
                let again = workspace.run(&arguments).json();
                assert_eq!(counts(&again), received(2).duplicate(1).held(1), "{way}");

                let files = export(&workspace, form, "desk", ending);
                for path in &files {
                    let text = std::fs::read_to_string(path).unwrap();
                    let text = text.replace("R77", "R2").replace("F-9004", written);
                    std::fs::write(path, text).unwrap();
                }
                let paths: Vec<_> = files.iter().map(|path| path.as_path()).collect();
                let back = workspace.load(&paths);
                assert_eq!(counts(&back), received(1).accepted(1), "{way}: {back}");
                assert_eq!(open(&workspace), 0, "{way}");
                let once_more = workspace.load(&paths);
                assert_eq!(
                    counts(&once_more),
                    received(1).duplicate(1),
                    "{way}: {once_more}"
                );
                let ids = sql(
                    &workspace,
                    "select visit_id, field_id, observer_id from visits order by visit_id",
                );
                let expected = |field: &str| {
                    json!({"visit_id": format!("invented:N-{field}:2026-07-21:N-obs-9002"),
                        "field_id": format!("N-{field}"), "observer_id": "N-obs-9002"})
                };
                assert_eq!(ids, [expected("F-9002"), expected("F-9004")], "{way}");
            }
        }
    }
}

#[test]
fn a_prefix_that_does_not_end_in_a_sign_is_refused() {
    let workspace = TestWorkspace::of_region("us:46");
    workspace.change_setting(
        "[flags]\n",
        "[senders.\"North office\"]\nfield_prefix = \"N\"\n\n[flags]\n",
    );
    let run = workspace.run(&["store", "info"]).expect_code(1);
    assert!(
        run.stderr
            .contains("[senders.\"North office\"] field_prefix = \"N\"")
            && run.stderr.contains("as \"N-\""),
        "{}",
        run.stderr
    );
}
