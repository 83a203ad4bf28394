//! What no public file may hold: ids of fields, farms, scouts and visits, and the points of fields.
//!
//! Every revision's and every load's, also of visits that no longer count: a name that was sent in
//! confidence stays private. Which of them a text holds is decided where texts are published.

use std::collections::BTreeSet;

use serde::Deserialize;

use crate::delta::snapshot::Snapshot;
use crate::delta::tables::Store;
use crate::rows::query_rows::rows;
use scouting::failure::Failure;

/// The columns of `visits` that name somebody's.
const COLUMNS: [&str; 4] = ["field_id", "farm_id", "observer_id", "visit_id"];

/// Every such name in the store, once.
pub async fn private_names(store: &Store) -> Result<BTreeSet<String>, Failure> {
    let snapshot = Snapshot::open(store, 1).await?;
    let mut names = BTreeSet::new();
    for column in COLUMNS {
        let query =
            format!("select distinct {column} as name from visits where {column} is not null");
        let rows: Vec<Name> = rows(snapshot.session(), &query).await?;
        names.extend(rows.into_iter().map(|row| row.name));
    }
    Ok(names)
}

/// Longitude and latitude of every field visited, each point once.
pub async fn private_points(store: &Store) -> Result<Vec<(f64, f64)>, Failure> {
    let snapshot = Snapshot::open(store, 1).await?;
    points_of(
        &snapshot,
        "select distinct lon, lat from visits where point_from is null",
    )
    .await
}

/// The same of the fields whose visits a version of the store has.
pub async fn private_points_at(store: &Store, version: i64) -> Result<Vec<(f64, f64)>, Failure> {
    let snapshot = Snapshot::at(store, version, 1).await?;
    // A row of a later load is in the table, and no receipt of the version names its load.
    let query = "select distinct lon, lat from visits where point_from is null and load_id in (select load_id from receipts)";
    points_of(&snapshot, query).await
}

async fn points_of(snapshot: &Snapshot, query: &str) -> Result<Vec<(f64, f64)>, Failure> {
    let rows: Vec<Point> = rows(snapshot.session(), query).await?;
    Ok(rows.into_iter().map(|row| (row.lon, row.lat)).collect())
}

#[derive(Deserialize)]
struct Name {
    name: String,
}

#[derive(Deserialize)]
struct Point {
    lon: f64,
    lat: f64,
}
