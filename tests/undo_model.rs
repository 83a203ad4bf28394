//! Any order of loads, with a prefix or superseding, of files loaded again, of undos and edits ends in the store that a
//! small model of its own gives.
//!
//! The model is in `support/undo_model.rs`.

use std::collections::BTreeMap;

use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};
use serde_json::{Value, json};

use crate::support::undo_model::{Model, Record, Way, area_ha};
use crate::support::{TestWorkspace, counts, full_visit, lines, received, text_of};

#[derive(Debug, Clone)]
enum Deed {
    /// A file with these records.
    Load(Vec<Record>, Way),
    /// A file that was loaded before.
    Again(prop::sample::Index, Way),
    /// The undo of any load before, undos among them.
    Undo(prop::sample::Index),
    /// An edit of the area of a visit.
    Edit(u8, u32),
}

fn way() -> impl Strategy<Value = Way> {
    let often_not = || prop_oneof![2 => Just(false), 1 => Just(true)];
    (often_not(), often_not()).prop_map(|(north, supersedes)| Way { north, supersedes })
}

fn deed() -> impl Strategy<Value = Deed> {
    let record = (0..3_u8, 1..4_u32, 0..3_u32);
    prop_oneof![
        4 => (prop::collection::vec(record, 1..4), way()).prop_map(|(records, way)| Deed::Load(records, way)),
        2 => (any::<prop::sample::Index>(), way()).prop_map(|(which, way)| Deed::Again(which, way)),
        4 => any::<prop::sample::Index>().prop_map(Deed::Undo),
        1 => (0..3_u8, 0..3_u32).prop_map(|(visit, area)| Deed::Edit(visit, area)),
    ]
}

fn record((visit, revision, area): Record) -> Value {
    let mut record = full_visit(&format!("v-{visit}"));
    record["revision"] = json!(revision);
    record["field"]["field_id"] = json!(format!("f-{visit}"));
    record["field"]["lon"] = json!(-100.1 - f64::from(visit) / 10.0);
    record["field"]["area_ha"] = json!(area_ha(area));
    record["observer_id"] = json!(format!("o-{visit}"));
    record
}

/// The stored rows of a query.
fn rows(workspace: &TestWorkspace, query: &str) -> Vec<Value> {
    let run = workspace.run(&["sql", query, "--format", "json"]);
    run.expect_code(0).json().as_array().expect("rows").clone()
}

/// Ids of the loads, in the order in which they came.
fn load_ids(workspace: &TestWorkspace) -> Vec<String> {
    let rows = rows(workspace, "select load_id from receipts order by load_id");
    let id = |row: &Value| row["load_id"].as_str().expect("an id").to_owned();
    rows.iter().map(id).collect()
}

#[test]
fn any_order_of_loads_undos_and_edits_ends_in_the_store_of_the_model() {
    // Each deed starts the program; proptest prints the smallest case that fails.
    let config = Config {
        cases: 10,
        max_shrink_iters: 60,
        failure_persistence: None,
        ..Config::default()
    };
    let empty = TestWorkspace::of_region("us:46");
    empty.change_setting(
        "[flags]\n",
        "[senders.north]\nfield_prefix = \"N-\"\n\n[flags]\n",
    );
    let mut runner = TestRunner::new(config);
    let result = runner.run(&prop::collection::vec(deed(), 4..12), |deeds| {
        let workspace = empty.copied();
        let (mut model, mut files) = (Model::default(), Vec::new());
        for deed in deeds {
            match deed {
                Deed::Load(records, way) => {
                    files.push(records.clone());
                    load(&workspace, &mut model, &records, way)?;
                }
                Deed::Again(which, way) if !files.is_empty() => {
                    let records = files[which.index(files.len())].clone();
                    load(&workspace, &mut model, &records, way)?;
                }
                Deed::Undo(which) if !model.loads.is_empty() => {
                    let ids = load_ids(&workspace);
                    prop_assert_eq!(ids.len(), model.loads.len());
                    let named = which.index(ids.len());
                    let done = model.undo(named);
                    let run = workspace.run(&[
                        "submissions",
                        "undo",
                        &ids[named],
                        "--reason",
                        "a test",
                        "--yes",
                    ]);
                    prop_assert_eq!(run.code, Some(i32::from(!done)), "{:?}", run);
                }
                Deed::Edit(visit, area) => {
                    let done = model.edit(visit, area);
                    let set = format!("/field/area_ha={}", area_ha(area));
                    let run = workspace.run(&[
                        "visit",
                        "edit",
                        &format!("v-{visit}"),
                        "--set",
                        &set,
                        "--reason",
                        "a test",
                    ]);
                    prop_assert_eq!(run.code, Some(i32::from(!done)), "{:?}", run);
                }
                Deed::Again(..) | Deed::Undo(_) => {}
            }
        }
        let open = workspace.run(&["held", "list", "--format", "json"]).json();
        prop_assert_eq!(open["open"].as_u64(), Some(model.open() as u64));
        prop_assert_eq!(current(&workspace), model.current());
        let verified = workspace.run(&["store", "verify"]);
        prop_assert_eq!(verified.code, Some(0), "{:?}", verified);
        let odd = "select load_id from receipts where received <> accepted + duplicate + held";
        prop_assert_eq!(rows(&workspace, odd).len(), 0);
        Ok(())
    });
    if let Err(error) = result {
        panic!("{error}");
    }
}

fn load(
    workspace: &TestWorkspace,
    model: &mut Model,
    records: &[Record],
    way: Way,
) -> Result<(), TestCaseError> {
    let (accepted, duplicate, held) = model.load(records, way);
    let documents: Vec<Value> = records.iter().map(|of| record(*of)).collect();
    let path = workspace.write("week.ndjson", lines(&documents));
    let path = text_of(&path);
    let mut arguments = vec!["load", "--format", "json", &path];
    if way.north {
        arguments.extend(["--sender", "north"]);
    }
    if way.supersedes {
        arguments.push("--supersede");
    }
    let run = workspace.run(&arguments);
    let expected = received(records.len() as u64)
        .accepted(accepted)
        .duplicate(duplicate)
        .held(held);
    prop_assert_eq!(counts(&run.json()), expected);
    Ok(())
}

fn current(workspace: &TestWorkspace) -> BTreeMap<String, (u32, f64, String, bool)> {
    let query = "select v.visit_id, v.revision, v.area_ha, v.field_id, v.retracted from visits v inner join \
         (select visit_id, max(revision) as revision from visits group by visit_id) newest \
         on v.visit_id = newest.visit_id and v.revision = newest.revision";
    let row = |row: &Value| {
        let revision = row["revision"].as_u64().expect("a revision") as u32;
        let area = row["area_ha"].as_f64().expect("an area");
        let field_id = row["field_id"].as_str().expect("an id").to_owned();
        let withdrawn = row["retracted"].as_bool().expect("a truth");
        (
            row["visit_id"].as_str().expect("an id").to_owned(),
            (revision, area, field_id, withdrawn),
        )
    };
    rows(workspace, query).iter().map(row).collect()
}
