//! Protocol files: what is refused, with its place and reason; and visits of every kind of count, from the load to
//! the roll-up. What the built-in ones compute is in `thresholds.rs`.

mod catalogue;
mod crop_stages;
mod economics;
mod expressions;
mod kinds_of_count;
mod pages;
mod refused;

use std::path::Path;

use arrow::array::RecordBatch;
use arrow::util::display::array_value_to_string;
use scouting::failure::Kind;
use scouting::protocol::catalogue::Protocol;
use serde_json::{Value, json};
use store::delta::snapshot::Snapshot;
use store::delta::tables::Store;

use crate::support::{TestWorkspace, full_visit};

fn built_in(id: &str) -> String {
    std::fs::read_to_string(format!("pipeline/protocols/{id}.toml")).expect("a built-in protocol")
}

/// A built-in protocol's text with one piece put for another.
fn bent(id: &str, piece: &str, other: &str) -> String {
    let text = built_in(id);
    assert!(text.contains(piece), "{id} has no {piece}");
    text.replacen(piece, other, 1)
}

/// A protocol with this threshold expression.
fn with_expression(expression: &str) -> String {
    let own = "expression = \"1.0 / 3.0\"";
    bent(
        "stem-weevil",
        own,
        &format!("expression = '''{expression}'''"),
    )
}

/// How a text is refused as the file of this name.
#[track_caller]
fn refusal(name: &str, text: &str) -> String {
    match Protocol::read(text, Path::new(name), store::stages::expression::plan) {
        Ok(_) => panic!("{name} was taken:\n{text}"),
        Err(failure) => {
            assert_eq!(failure.kind(), Kind::Protocol);
            failure.to_string()
        }
    }
}

/// A visit under a protocol without any economics; the field's number keeps fields apart.
fn plain_visit(
    field: u32,
    protocol: &str,
    (crop_type, stage): (&str, &str),
    sites: Value,
) -> Value {
    let mut visit = full_visit(&format!("{protocol}-{field}"));
    visit["field"]["field_id"] = json!(format!("F-{field}"));
    visit["field"]["crop_type"] = json!(crop_type);
    visit["protocol"] = json!(protocol);
    visit["crop_stage"] = json!(stage);
    visit["sites"] = sites;
    visit
        .as_object_mut()
        .expect("an object")
        .remove("economics");
    visit
}

fn plants(sites: u32, counts: &[u32]) -> Value {
    (1..=sites)
        .map(|site| json!({"site": site, "plants": counts}))
        .collect()
}

/// Columns of the stored visits as text, a line a visit, after its id.
fn stored(workspace: &TestWorkspace, columns: &str) -> Vec<String> {
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    let batches = runtime.block_on(async {
        let store = Store::in_folder(&workspace.path().join("store")).expect("the store");
        let snapshot = Snapshot::open(&store, 1).await.expect("its newest version");
        let query = format!("select visit_id, {columns} from visits order by visit_id");
        let frame = snapshot.session().sql(&query).await.expect("a query");
        frame.collect().await.expect("rows")
    });
    let line = |batch: &RecordBatch, row: usize| {
        let cells = batch.columns().iter();
        let cells = cells.map(|column| array_value_to_string(column, row).expect("a text"));
        cells.collect::<Vec<_>>().join(" ")
    };
    batches
        .iter()
        .flat_map(|batch| {
            (0..batch.num_rows())
                .map(|row| line(batch, row))
                .collect::<Vec<_>>()
        })
        .collect()
}
