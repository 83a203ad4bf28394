//! The same store version gives the same bytes on any number of cores, and the same visits the same figures
//! in whatever order and however many files they came.

use bractline::failure::Failure;
use bractline::protocol::catalogue::Catalogue;
use bractline::publish::tables::{ColumnDoc, write_csv, write_parquet};
use bractline::region::Region;
use bractline::rollup::dispersion::{SmallestGroup, season_dispersion};
use bractline::rollup::inputs::{RegionCounty, Setting};
use bractline::rollup::run::roll_up;
use bractline::rollup::stages::StageColumn;
use bractline::rollup::windows::Weather;
use bractline::sample::{Expected, Landscape, MessShares, SampleLine, SampleLines, SampleOptions};
use bractline::store::snapshot::Snapshot;
use bractline::store::tables::Store;
use rand::SeedableRng;
use rand::seq::SliceRandom;

use crate::generated::{assert_account, load, submissions};
use crate::support::{TestWorkspace, bractline};

const SEED: u64 = 30;

fn sample() -> Vec<SampleLine> {
    let options = SampleOptions {
        seed: SEED,
        fields: 500,
        seasons: vec![2024, 2025, 2026],
        mess: MessShares::demo(),
        first_week: 28,
        weeks: 6,
        visits_per_field_max: 3,
    };
    let lines = SampleLines::new(&Landscape::draw(SEED).shapes(), &options);
    lines.expect("the fictional region has counties").collect()
}

fn workspace() -> TestWorkspace {
    let workspace = TestWorkspace::empty();
    let region = workspace.write("region.geojson", Landscape::draw(SEED).geojson());
    bractline(&[
        "init",
        &crate::generated::text_of(&workspace.path()),
        "--region",
        &crate::generated::text_of(&region),
        "--id-property",
        "county_id",
        "--name-property",
        "county_name",
    ])
    .expect_code(0);
    workspace
}

/// The finished tables as CSV and as Parquet.
fn figures(workspace: &TestWorkspace, partitions: usize) -> Vec<(String, Vec<u8>)> {
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    let rolled_up = runtime.block_on(async {
        let store = Store::in_folder(&workspace.path().join("store"))?
            .opened()
            .await?;
        let snapshot = Snapshot::open(&store, partitions).await?;
        let outlines = Landscape::draw(SEED).geojson();
        let region = Region::from_text(&outlines, "drawn", "county_id", "county_name")?;
        let counties = region.counties().iter().zip(region.neighbours());
        let setting = Setting {
            min_fields: 3,
            min_farms: 3,
            point_grid_km: 100.0,
            counties: counties
                .map(|(county, neighbours)| RegionCounty {
                    id: county.id.clone(),
                    name: county.name.clone(),
                    neighbours,
                })
                .collect(),
            weather: Weather::default(),
        };
        let rolled_up = roll_up(&snapshot, None, &Catalogue::read(None)?, &setting).await?;
        let smallest = SmallestGroup {
            fields: 3,
            farms: 3,
        };
        let scatter = season_dispersion(&snapshot, &rolled_up, smallest, None).await?;
        Ok::<_, Failure>((rolled_up, scatter))
    });
    let (rolled_up, scatter) = rolled_up.unwrap_or_else(|failure| panic!("{failure}"));
    let finished = [
        (rolled_up.field_week(), 200),
        (rolled_up.county_week(), 200),
        (rolled_up.region_week(), 5),
        (rolled_up.region_pressure(), 20),
        (rolled_up.region_stage(), 20),
        (rolled_up.sample_point(), 50),
    ];
    let finished = finished.map(|(table, rows_min)| {
        let columns = table.stage.columns.as_slice();
        (&*table.stage.table, columns, &table.batch, rows_min)
    });
    let scatter = [
        ("county_season_dispersion", &scatter.county_season, 20),
        ("season_power_law", &scatter.power_law, 1),
        ("visit_dispersion", &scatter.visit, 200),
    ];
    let scatter = scatter
        .map(|(name, table, rows_min)| (name, table.columns.as_slice(), &table.batch, rows_min));
    finished
        .into_iter()
        .chain(scatter)
        .flat_map(|(name, columns, batch, rows_min)| {
            let docs = docs(columns);
            assert!(
                batch.num_rows() > rows_min,
                "{name} is too small to prove anything"
            );
            [
                (format!("{name}.csv"), write_csv(batch, &docs)),
                (format!("{name}.parquet"), write_parquet(batch, &docs, None)),
            ]
        })
        .map(|(name, bytes)| (name, bytes.unwrap_or_else(|failure| panic!("{failure}"))))
        .collect()
}

fn docs(columns: &[StageColumn]) -> Vec<ColumnDoc<'_>> {
    columns
        .iter()
        .map(|column| ColumnDoc {
            name: &column.name,
            description: &column.description,
            unit: column.unit.as_deref(),
        })
        .collect()
}

#[track_caller]
fn assert_same(one: &[(String, Vec<u8>)], other: &[(String, Vec<u8>)], what: &str) {
    for ((name, one), (other_name, other)) in one.iter().zip(other) {
        assert_eq!(name, other_name);
        assert!(one == other, "{name} differs {what} (seed {SEED})");
    }
}

#[test]
fn one_store_version_gives_the_same_bytes_on_any_number_of_cores() {
    let workspace = workspace();
    let lines = sample();
    // Several files, so that several partitions have something to read.
    let account = load(&workspace, &submissions(&workspace, "part", &lines, 5));
    assert_account(&account, lines.iter().map(|line| line.expected));
    let alone = figures(&workspace, 1);
    for partitions in [1, 2, 8, 3] {
        let what = format!("on {partitions} partitions");
        assert_same(&alone, &figures(&workspace, partitions), &what);
    }
}

#[test]
fn the_same_visits_give_the_same_bytes_in_any_order_and_any_number_of_files() {
    // Of two records that contradict each other the first stands, so there the order is the meaning.
    let mut lines = sample();
    lines.retain(|line| line.expected != Expected::Held("revision-conflict"));
    let in_order = workspace();
    load(&in_order, &submissions(&in_order, "all", &lines, 1));
    let expected = figures(&in_order, 2);

    lines.shuffle(&mut rand_chacha::ChaCha8Rng::seed_from_u64(SEED));
    let shuffled = workspace();
    let account = load(&shuffled, &submissions(&shuffled, "part", &lines, 9));
    assert_account(&account, lines.iter().map(|line| line.expected));
    assert_same(&expected, &figures(&shuffled, 2), "after shuffling");

    // And all of it once more, in one piece: nothing but duplicates and what was held before.
    let again = load(&shuffled, &submissions(&shuffled, "again", &lines, 1));
    assert_eq!(again["accepted"], 0);
    assert_same(
        &expected,
        &figures(&shuffled, 8),
        "after loading all of it again",
    );
}
