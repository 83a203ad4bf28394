//! One SQL stage run on a few rows.

use std::sync::Arc;

use arrow::array::{
    ArrayRef, BooleanArray, Date32Array, Float64Array, Int32Array, Int64Array, RecordBatch,
    StringArray,
};
use datafusion::prelude::{SessionConfig, SessionContext};
use jiff::civil::Date;
use scouting::failure::Failure;
use store::stages::engine::Engine;
use store::stages::files::{Stage, stages};
use store::stages::run_stage::run_stage;
use store::stages::stage_rows::whole_table;

/// A table from its text.
pub fn table(text: &str) -> RecordBatch {
    let mut lines = text.lines().map(str::trim).filter(|line| !line.is_empty());
    let header: Vec<&str> = lines.next().expect("a header").split_whitespace().collect();
    let rows: Vec<Vec<&str>> = lines
        .map(|line| line.split_whitespace().collect())
        .collect();
    let written = header.iter().filter(|name| !name.contains('=')).count();
    for row in &rows {
        assert_eq!(row.len(), written, "cells of {row:?} for {header:?}");
    }
    let mut next_cell = 0;
    let columns = header.iter().map(|column| {
        let (name, kind) = column.split_once(':').expect("name:type");
        let cells: Vec<Option<&str>> = match kind.split_once('=') {
            Some((_, value)) => vec![cell(value); rows.len()],
            None => {
                next_cell += 1;
                rows.iter().map(|row| cell(row[next_cell - 1])).collect()
            }
        };
        let kind = kind.split_once('=').map_or(kind, |(kind, _)| kind);
        (name, column_of(kind, &cells), true)
    });
    RecordBatch::try_from_iter_with_nullable(columns.collect::<Vec<_>>())
        .expect("columns of one length")
}

pub fn cell(text: &str) -> Option<&str> {
    (text != "-").then_some(text)
}

pub fn column_of(kind: &str, cells: &[Option<&str>]) -> ArrayRef {
    fn read<T: std::str::FromStr>(cell: &Option<&str>) -> Option<T> {
        cell.map(|text| text.parse().ok().expect("a cell of the column's type"))
    }
    match kind {
        "text" => Arc::new(cells.iter().copied().collect::<StringArray>()),
        "int" => Arc::new(cells.iter().map(read::<i32>).collect::<Int32Array>()),
        "bigint" => Arc::new(cells.iter().map(read::<i64>).collect::<Int64Array>()),
        "double" => Arc::new(cells.iter().map(read::<f64>).collect::<Float64Array>()),
        "boolean" => Arc::new(cells.iter().map(read::<bool>).collect::<BooleanArray>()),
        "date" => {
            let days = |day: Date| (day - Date::constant(1970, 1, 1)).get_days();
            let cells = cells.iter().map(read::<Date>);
            Arc::new(cells.map(|day| day.map(days)).collect::<Date32Array>())
        }
        other => panic!("no type {other}"),
    }
}

/// The stage of this table, as it is in `pipeline/stages`.
pub fn stage_of(name: &str) -> Stage {
    let stages = stages().expect("the stages can be read");
    let found = stages.into_iter().find(|stage| stage.table == name);
    found.unwrap_or_else(|| panic!("no stage makes {name}"))
}

/// Runs a stage on given tables.
pub fn try_stage(stage: &Stage, given: &[(&str, RecordBatch)]) -> Result<RecordBatch, Failure> {
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    runtime.block_on(async {
        let config = SessionConfig::new().with_target_partitions(2);
        let session = SessionContext::new_with_config(config);
        for (name, rows) in given {
            session
                .register_batch(*name, rows.clone())
                .expect("a table that is not there yet");
        }
        let parts = run_stage(Engine::here(&session), stage).await?;
        whole_table(stage, &parts)
    })
}

/// Runs the stage that makes a table on given tables.
pub fn run(name: &str, given: &[(&str, RecordBatch)]) -> RecordBatch {
    try_stage(&stage_of(name), given).unwrap_or_else(|failure| panic!("{failure}"))
}

/// Columns of `field_week` that the county stages read; every row names field, county, farm, window,
/// hectares and pressure.
pub const FIELD_WEEK: &str = "field_id:text county_id:text farm_id:text in_window:boolean \
    area_ha:double pressure:double iso_week:text=2026-W30 protocol:text=eggs season:int=2026 \
    economics_assumed:boolean=false undetermined:boolean=- window_opens:date=- window_closes:date=- \
    window_basis:text=- after_treatment:boolean=false";
