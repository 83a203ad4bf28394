//! Any order of loads, of files loaded again, of undos and edits ends in the store that a small model of its own gives.
//!
//! The model knows visits by one number, the area of the field, and keeps a plain list of what was stored.

use std::collections::{BTreeMap, BTreeSet};

use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};
use serde_json::{Value, json};

use crate::support::{TestWorkspace, counts, full_visit, lines, received, text_of};

/// A record: visit, revision and area.
type Record = (u8, u32, u32);

#[derive(Debug, Clone)]
enum Deed {
    /// A file with these records.
    Load(Vec<Record>),
    /// A file that was loaded before.
    Again(prop::sample::Index),
    /// The undo of any load before, undos among them.
    Undo(prop::sample::Index),
    /// An edit of the area of a visit.
    Edit(u8, u32),
}

fn deed() -> impl Strategy<Value = Deed> {
    let record = (0..3_u8, 1..4_u32, 0..3_u32);
    prop_oneof![
        4 => prop::collection::vec(record, 1..4).prop_map(Deed::Load),
        2 => any::<prop::sample::Index>().prop_map(Deed::Again),
        4 => any::<prop::sample::Index>().prop_map(Deed::Undo),
        1 => (0..3_u8, 0..3_u32).prop_map(|(visit, area)| Deed::Edit(visit, area)),
    ]
}

/// A row of visits.
#[derive(Debug, Clone, Copy)]
struct Row {
    visit: u8,
    stored: u32,
    sent: u32,
    area: u32,
    withdrawn: bool,
    load: usize,
}

/// A load: what it undoes, and which records it was the first to hold.
#[derive(Debug, Clone, Default)]
struct Load {
    undoes: Option<usize>,
    accepted: u64,
    held: Vec<Record>,
}

#[derive(Debug, Default)]
struct Model {
    rows: Vec<Row>,
    loads: Vec<Load>,
}

enum Fate {
    Accepted,
    Duplicate,
    Held,
}

impl Model {
    fn undone(&self, load: usize) -> bool {
        let undos = self.loads.iter().filter(|other| other.undoes == Some(load));
        undos.count() % 2 == 1
    }

    fn highest(&self, visit: u8) -> u32 {
        let of_visit = self.rows.iter().filter(|row| row.visit == visit);
        of_visit.map(|row| row.stored).max().unwrap_or(0)
    }

    /// The row that is in effect: the highest of a sender or an edit whose load is not undone.
    fn in_effect(&self, visit: u8) -> Option<Row> {
        let may = |row: &&Row| {
            row.visit == visit && self.loads[row.load].undoes.is_none() && !self.undone(row.load)
        };
        self.rows
            .iter()
            .copied()
            .filter(|row| may(&row))
            .max_by_key(|row| row.stored)
    }

    /// Whether an undo ever named a load that brought the visit.
    fn touched(&self, visit: u8) -> bool {
        let named: BTreeSet<usize> = self.loads.iter().filter_map(|load| load.undoes).collect();
        self.rows
            .iter()
            .any(|row| row.visit == visit && named.contains(&row.load))
    }

    fn take(&mut self, (visit, sent, area): Record, load: usize) -> Fate {
        let mut stored = sent;
        if self.touched(visit) {
            let effect = self.in_effect(visit);
            let effect_sent = effect.map_or(0, |row| row.sent);
            let is_same = |row: Row| row.sent == sent && row.area == area && !row.withdrawn;
            if effect.is_some_and(is_same) {
                return Fate::Duplicate;
            }
            if sent > effect_sent && sent <= self.highest(visit) {
                stored = self.highest(visit) + 1;
            }
        }
        let known = self
            .rows
            .iter()
            .find(|row| row.visit == visit && row.stored == stored);
        if let Some(known) = known {
            let is_same = known.area == area && !known.withdrawn;
            return if is_same { Fate::Duplicate } else { Fate::Held };
        }
        self.rows.push(Row {
            visit,
            stored,
            sent,
            area,
            withdrawn: false,
            load,
        });
        Fate::Accepted
    }

    /// Loads records; received, accepted, duplicate and held of them.
    fn load(&mut self, records: &[Record]) -> (u64, u64, u64) {
        let load = self.loads.len();
        self.loads.push(Load::default());
        let (mut accepted, mut duplicate, mut held) = (0, 0, 0);
        for record in records {
            match self.take(*record, load) {
                Fate::Accepted => accepted += 1,
                Fate::Duplicate => duplicate += 1,
                Fate::Held => {
                    held += 1;
                    let mut earlier = (0..load).filter(|other| !self.undone(*other));
                    if !earlier.any(|other| self.loads[other].held.contains(record)) {
                        self.loads[load].held.push(*record);
                    }
                }
            }
        }
        self.loads[load].accepted = accepted;
        (accepted, duplicate, held)
    }

    /// Undoes a load; false if that must be refused.
    fn undo(&mut self, named: usize) -> bool {
        let root = self.loads[named].undoes.unwrap_or(named);
        let last = self
            .loads
            .iter()
            .rposition(|load| load.undoes == Some(root));
        let refused = match self.loads[named].undoes {
            Some(_) => last != Some(named),
            None => self.undone(root),
        };
        let brought = &self.loads[root];
        if refused || (brought.accepted == 0 && brought.held.is_empty()) {
            return false;
        }
        let visits: BTreeSet<u8> = self
            .rows
            .iter()
            .filter(|row| row.load == root)
            .map(|row| row.visit)
            .collect();
        let before: Vec<Option<Row>> = visits.iter().map(|visit| self.in_effect(*visit)).collect();
        let load = self.loads.len();
        self.loads.push(Load {
            undoes: Some(root),
            ..Load::default()
        });
        for (visit, before) in visits.into_iter().zip(before) {
            let after = self.in_effect(visit);
            if before.map(|row| row.stored) == after.map(|row| row.stored) {
                continue;
            }
            let source = after.or(before).expect("one of them is there");
            let stored = self.highest(visit) + 1;
            let withdrawn = after.is_none() || source.withdrawn;
            self.rows.push(Row {
                stored,
                sent: stored,
                load,
                withdrawn,
                ..source
            });
            self.loads[load].accepted += 1;
        }
        true
    }

    /// Edits the area of a visit; false if that must be refused.
    fn edit(&mut self, visit: u8, area: u32) -> bool {
        let stored = self.highest(visit);
        let current = self
            .rows
            .iter()
            .find(|row| row.visit == visit && row.stored == stored);
        let Some(current) = current.copied().filter(|current| current.area != area) else {
            return false;
        };
        let load = self.loads.len();
        self.loads.push(Load {
            accepted: 1,
            ..Load::default()
        });
        let stored = stored + 1;
        self.rows.push(Row {
            stored,
            sent: stored,
            area,
            load,
            ..current
        });
        true
    }

    /// Area and withdrawal of the highest revision of each visit.
    fn current(&self) -> BTreeMap<String, (u32, f64, bool)> {
        let visits: BTreeSet<u8> = self.rows.iter().map(|row| row.visit).collect();
        let of_visit = |visit: u8| {
            let rows = self.rows.iter().filter(move |row| row.visit == visit);
            let row = rows
                .max_by_key(|row| row.stored)
                .expect("a visit has a row");
            (
                format!("v-{visit}"),
                (row.stored, area_ha(row.area), row.withdrawn),
            )
        };
        visits.into_iter().map(of_visit).collect()
    }

    fn open(&self) -> usize {
        let loads = (0..self.loads.len()).filter(|load| !self.undone(*load));
        loads.map(|load| self.loads[load].held.len()).sum()
    }
}

fn area_ha(area: u32) -> f64 {
    40.0 + f64::from(area)
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
    let mut runner = TestRunner::new(config);
    let result = runner.run(&prop::collection::vec(deed(), 4..12), |deeds| {
        let workspace = empty.copied();
        let (mut model, mut files) = (Model::default(), Vec::new());
        for deed in deeds {
            match deed {
                Deed::Load(records) => {
                    files.push(records.clone());
                    load(&workspace, &mut model, &records)?;
                }
                Deed::Again(which) if !files.is_empty() => {
                    let records = files[which.index(files.len())].clone();
                    load(&workspace, &mut model, &records)?;
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
                Deed::Again(_) | Deed::Undo(_) => {}
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
) -> Result<(), TestCaseError> {
    let (accepted, duplicate, held) = model.load(records);
    let documents: Vec<Value> = records.iter().map(|of| record(*of)).collect();
    let path = workspace.write("week.ndjson", lines(&documents));
    let run = workspace.run(&["load", "--format", "json", &text_of(&path)]);
    let expected = received(records.len() as u64)
        .accepted(accepted)
        .duplicate(duplicate)
        .held(held);
    prop_assert_eq!(counts(&run.json()), expected);
    Ok(())
}

fn current(workspace: &TestWorkspace) -> BTreeMap<String, (u32, f64, bool)> {
    let query = "select v.visit_id, v.revision, v.area_ha, v.retracted from visits v inner join \
         (select visit_id, max(revision) as revision from visits group by visit_id) newest \
         on v.visit_id = newest.visit_id and v.revision = newest.revision";
    let row = |row: &Value| {
        let revision = row["revision"].as_u64().expect("a revision") as u32;
        let area = row["area_ha"].as_f64().expect("an area");
        let withdrawn = row["retracted"].as_bool().expect("a truth");
        (
            row["visit_id"].as_str().expect("an id").to_owned(),
            (revision, area, withdrawn),
        )
    };
    rows(workspace, query).iter().map(row).collect()
}
