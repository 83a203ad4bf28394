//! The same store version gives the same bytes on any number of cores, and the same visits the same figures
//! in whatever order and however many files they came.

use std::collections::BTreeMap;

use bractline::demo::{Expected, Landscape, MessShares, SampleLine, SampleLines, SampleOptions};
use bractline::figures::dispersion_tables::season_dispersion;
use bractline::shared::tables::{write_csv, write_parquet};
use disclosure::rule::Rule;
use rand::SeedableRng;
use rand::seq::SliceRandom;
use scouting::failure::Failure;
use scouting::protocol::catalogue::Catalogue;
use scouting::region::point_grid::GridWidth;
use scouting::region::{County, Region};
use scouting::visit::code::Code;
use scouting::visit::week::Weeks;
use serde_json::Value;
use store::delta::snapshot::Snapshot;
use store::delta::tables::Store;
use store::delta::week_parts::week_parts;
use store::public::public_rows::{Publishing, public_rows};
use store::public::public_tables::PublicTables;
use store::stages::computed::windows::Weather;
use store::stages::inputs::{RegionCounty, Setting};
use store::stages::rollup::Period;
use store::stages::run::{roll_up, roll_up_by};
use store::stages::wanted::FINISHED;

use crate::support::generated::{assert_account, load, submissions};
use crate::support::{TestWorkspace, bractline, docs};

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
        &crate::support::text_of(&workspace.path()),
        "--region",
        &crate::support::text_of(&region),
        "--id-property",
        "county_id",
        "--name-property",
        "county_name",
    ])
    .expect_code(0);
    workspace
}

fn setting() -> Result<Setting, Failure> {
    let outlines = Landscape::draw(SEED).geojson();
    let region = Region::from_text(&outlines, "drawn", "county_id", "county_name")?;
    let counties = region.counties().iter().zip(region.neighbors());
    let county = |(county, neighbors): (&County, Vec<usize>)| RegionCounty {
        id: county.id.clone(),
        name: county.name.clone(),
        neighbors,
    };
    Ok(Setting {
        rule: Rule::LEAST,
        districts: BTreeMap::new(),
        weeks: Weeks::ISO,
        point_grid: GridWidth::Km40,
        counties: counties.map(county).collect(),
        certainty: 0.9,
        weather: Weather::default(),
    })
}

/// The finished tables as CSV and as Parquet.
fn figures(workspace: &TestWorkspace, partitions: usize) -> Vec<(String, Vec<u8>)> {
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    let rolled_up = runtime.block_on(async {
        let store = Store::in_folder(&workspace.path().join("store"))?
            .opened()
            .await?;
        let snapshot = Snapshot::open(&store, partitions).await?;
        let (catalogue, setting) = (
            Catalogue::read(None, store::stages::expression::plan)?,
            setting()?,
        );
        let rolled_up = roll_up(&snapshot, None, &catalogue, &setting).await?;
        let rows = public_rows(
            &rolled_up.field_week().batch,
            &catalogue,
            &setting,
            &[],
            &Publishing::All(Period::All),
            jiff::civil::date(2026, 9, 30),
        )?;
        let public = PublicTables::of(rows.shown, &setting).await?;
        let scatter = season_dispersion(&snapshot, &rolled_up, None).await?;
        Ok::<_, Failure>((rolled_up, public, scatter))
    });
    let (rolled_up, public, scatter) = rolled_up.unwrap_or_else(|failure| panic!("{failure}"));
    let finished = [
        (rolled_up.field_week(), 200),
        (rolled_up.county_week_full(), 200),
        (public.county_week(), 50),
        (public.region_week(), 5),
        (public.region_median(), 10),
        (public.region_stage(), 20),
        (public.sample_point(), 5),
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
    // Of two records that contradict each other the first is kept, so there the order is the meaning.
    let mut lines = sample();
    lines.retain(|line| line.expected != Expected::Held(Code::RevisionConflict));
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

/// The year of a visit's day is mended: the correction lies in another season than what it corrects.
fn wandering(lines: &[SampleLine], season: &str) -> Value {
    let accepted = lines
        .iter()
        .filter(|line| line.expected == Expected::Accepted);
    let visits = accepted.filter_map(|line| serde_json::from_slice::<Value>(&line.bytes).ok());
    let mut of_season = visits.filter(|visit| {
        let day = visit["observed_on"].as_str().unwrap_or_default();
        day.starts_with(season) && visit["revision"] == 1
    });
    let mut visit = of_season.next().expect("a visit of the season");
    visit["revision"] = 9.into();
    visit["observed_on"] = "2026-07-15".into();
    visit["submitted_at"] = "2026-09-01T08:00:00Z".into();
    visit
}

/// Many visits are rolled up in parts of some weeks: every table is that of the whole, and a visit that moved from one
/// week to another counts once, where it belongs.
#[test]
fn weeks_in_parts_have_the_tables_of_the_whole() {
    let workspace = workspace();
    let lines = sample();
    load(&workspace, &submissions(&workspace, "visits", &lines, 1));
    let moved = ["2024", "2025"].map(|season| wandering(&lines, season));
    let account = workspace.load_text("moved.ndjson", &crate::support::lines(&moved));
    assert_eq!(account["accepted"], 2, "{account:#}");
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    let compared = runtime.block_on(async {
        let store = Store::in_folder(&workspace.path().join("store"))?
            .opened()
            .await?;
        let (catalogue, setting) = (
            Catalogue::read(None, store::stages::expression::plan)?,
            setting()?,
        );
        let snapshot = || Snapshot::open(&store, 2);
        let newest = snapshot().await?;
        let parts = week_parts(&newest, &setting.weeks, 200).await?;
        assert!(
            week_parts(&newest, &setting.weeks, 1_000_000)
                .await?
                .is_empty()
        );
        let whole = roll_up(&snapshot().await?, None, &catalogue, &setting).await?;
        let by_week = roll_up_by(&newest, &catalogue, &setting, 1).await?;
        let by_parts = roll_up_by(&snapshot().await?, &catalogue, &setting, 200).await?;
        Ok::<_, Failure>((parts, whole, [by_week, by_parts]))
    });
    let (parts, whole, others) = compared.unwrap_or_else(|failure| panic!("{failure}"));
    assert!((3..18).contains(&parts.len()), "{} parts", parts.len());
    let across = parts
        .iter()
        .any(|part| part.weeks.0.season() < part.weeks.1.season());
    let within = parts
        .windows(2)
        .any(|two| two[0].weeks.1.season() == two[1].weeks.0.season());
    assert!(across && within, "parts begin and end with seasons alone");
    assert!(whole.county_week_full().batch.num_rows() > 200);
    for other in others {
        for name in FINISHED {
            let [one, other] = [&whole, &other].map(|rollup| &rollup.table(name).unwrap().batch);
            assert!(one == other, "{name} differs from the whole (seed {SEED})");
        }
    }
}
