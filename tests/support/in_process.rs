//! The library without the program: a store with something before its object store, or hundreds of small loads.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::LazyLock;

use arrow::array::AsArray;
use arrow::compute::cast;
use arrow::datatypes::DataType;
use bractline::load::account::Account;
use bractline::load::loader::Loader;
use bractline::shared::tables::write_csv;
use disclosure::rule::Rule;
use intake::judge::judging::Judge;
use intake::read::formats::look_at;
use jiff::Timestamp;
use scouting::failure::Failure;
use scouting::protocol::catalogue::Catalogue;
use scouting::region::Region;
use scouting::region::point_grid::GridWidth;
use scouting::visit::rules::limits::SeasonDays;
use scouting::visit::week::Weeks;
use store::delta::snapshot::Snapshot;
use store::delta::tables::Store;
use store::public::public_rows::{Publishing, public_rows};
use store::public::public_tables::PublicTables;
use store::stages::computed::windows::Weather;
use store::stages::inputs::{RegionCounty, Setting};
use store::stages::rollup::Period;
use store::stages::run::roll_up;

use crate::support::docs;

static CATALOGUE: LazyLock<Catalogue> = LazyLock::new(|| {
    Catalogue::read(None, store::stages::expression::plan).expect("the built-in protocols")
});

/// South Dakota, as `init --region us:46` takes it.
static REGION: LazyLock<Region> =
    LazyLock::new(|| Region::built_in("us:46").expect("a built-in region"));

/// A loader of one thread, as `load` makes it.
pub async fn loader(store: Store) -> Result<Loader, Failure> {
    let season = SeasonDays {
        first: (1, 1),
        last: (12, 31),
    };
    let judge = Judge::new(&CATALOGUE, REGION.clone(), season, BTreeMap::new())?;
    Loader::new(store, judge, Vec::new(), 1).await
}

/// Loads one file.
pub async fn load(loader: &mut Loader, file: &Path) -> Result<Account, Failure> {
    let name = file.file_name().expect("a file").to_string_lossy();
    let file = look_at(file, &name)?;
    loader.load(&file, Timestamp::now()).await
}

/// The tables of a roll-up as CSV, by name.
pub async fn rolled_up(store: &Store) -> Result<BTreeMap<&'static str, Vec<u8>>, Failure> {
    let snapshot = Snapshot::open(store, 2).await?;
    let neighbors = REGION.neighbors();
    let counties = REGION.counties().iter().zip(neighbors);
    let setting = Setting {
        rule: Rule::LEAST,
        districts: BTreeMap::new(),
        weeks: Weeks::ISO,
        point_grid: GridWidth::Km40,
        counties: counties
            .map(|(county, neighbors)| RegionCounty {
                id: county.id.clone(),
                name: county.name.clone(),
                neighbors,
            })
            .collect(),
        certainty: 0.9,
        weather: Weather::default(),
    };
    let rolled_up = roll_up(&snapshot, None, &CATALOGUE, &setting).await?;
    let rows = public_rows(
        &rolled_up.field_week().batch,
        &CATALOGUE,
        &setting,
        &[],
        &Publishing::All(Period::All),
        jiff::civil::date(2026, 9, 30),
    )?;
    let public = PublicTables::of(rows.shown, &setting).await?;
    let tables = [
        ("field_week", rolled_up.field_week()),
        ("county_week_full", rolled_up.county_week_full()),
        ("county_week", public.county_week()),
        ("region_week", public.region_week()),
    ];
    let written = tables.map(|(name, table)| {
        let docs = docs(&table.stage.columns);
        Ok((name, write_csv(&table.batch, &docs)?))
    });
    written.into_iter().collect()
}

/// The rows that count: each visit and revision, and how many units and held records there are; sorted.
pub async fn counted_rows(store: &Store) -> Vec<String> {
    let snapshot = Snapshot::open(store, 1).await.expect("a snapshot");
    let query = "
        select concat(visit_id, ' ', revision) as report from visits where load_id in (select load_id from receipts)
        union all
        select concat('units ', count(*), ' ', sum(total)) from units where load_id in (select load_id from receipts)
        union all
        select concat('held ', count(*)) from held where load_id in (select load_id from receipts)";
    let plan = snapshot.session().sql(query).await.expect("a query");
    let mut rows = Vec::new();
    for batch in plan.collect().await.expect("rows") {
        let report = cast(batch.column(0), &DataType::Utf8).expect("text");
        let report = report.as_string::<i32>().iter().flatten();
        rows.extend(report.map(str::to_owned));
    }
    rows.sort();
    rows
}

/// A runtime of one thread.
pub fn runtime() -> tokio::runtime::Runtime {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .expect("a runtime")
}
