//! Every cell of every county-week of more than 20,000 visits over real county boundaries, against two
//! independent computations: plain Python on the submissions, and DuckDB on our Parquet files.

use std::path::Path;

use bractline::demo::{Expected, MessShares, SampleLine, SampleLines, SampleOptions};
use scouting::protocol::catalogue::Catalogue;
use scouting::region::Region;
use serde_json::{Value, json};

use crate::judge::python;
use crate::support::generated::{assert_account, load, submissions};
use crate::support::{TestWorkspace, text_of};

const STATES: &str = "46,38,20,31,27";

const BOUNDARIES: &str = "pipeline/boundaries/us-counties-2017.json";

const COMPARE: &str = "tests/reference/compare_county_weeks.py";

const SEED: u64 = 7;

const LINES_MIN: usize = 21_000;

const SEASONS: [i32; 2] = [2025, 2026];

/// Lines with every kind of mess, more of each than in the demo.
fn sample() -> Vec<SampleLine> {
    let region = Region::built_in(&format!("us:{STATES}")).expect("built-in states");
    let shapes: Vec<_> = region
        .counties()
        .iter()
        .map(|county| (county.id.clone(), county.shape.clone()))
        .collect();
    let options = SampleOptions {
        seed: SEED,
        fields: 5_400,
        seasons: SEASONS.to_vec(),
        mess: MessShares {
            retracted: 0.02,
            conflicting: 0.02,
            ..MessShares::demo()
        },
        first_week: 28,
        weeks: 6,
        visits_per_field_max: 3,
    };
    SampleLines::new(&shapes, &options)
        .expect("the states have counties")
        .collect()
}

/// The plausible bounds of bsm-eggs, as the reference takes them.
fn bounds() -> String {
    let catalogue = Catalogue::read(None, store::stages::expression::plan).expect("the catalog");
    let plausible = &catalogue.protocol("bsm-eggs").expect("in it").plausible;
    // NIST Special Publication 811, appendix B: exact.
    let (acre, pound) = (0.404_685_642_24, 0.453_592_37);
    json!({
        "treatment_cost_per_ha": plausible.treatment_cost_per_acre.map(|cost| cost / acre),
        "market_value_per_kg": plausible.market_value_per_lb.map(|value| value / pound),
        "plants_per_ha": plausible.plants_per_acre.map(|plants| plants / acre),
        "area_ha": plausible.area_ha,
    })
    .to_string()
}

/// Default economics of every crop type of the sample.
fn defaults() -> Value {
    let economics = |cost: f64, value: f64, plants: u32| {
        json!({
            "treatment_cost": {"amount": cost, "per": "acre", "currency": "USD"},
            "market_value": {"amount": value, "per": "kg", "currency": "USD"},
            "plant_population": {"count": plants, "per": "ha"},
        })
    };
    json!({"oilseed": economics(8.25, 0.4, 48_000), "confection": economics(9.5, 0.55, 41_500)})
}

/// Writes the defaults into a workspace's settings.
fn set_defaults(workspace: &TestWorkspace) {
    let place = workspace.path().join("bractline.toml");
    let mut settings = std::fs::read_to_string(&place).expect("settings");
    let defaults: toml::Table = serde_json::from_value(defaults()).expect("tables of TOML");
    let text = toml::to_string(&toml::Table::from_iter([(
        "defaults".to_owned(),
        toml::Value::Table(defaults),
    )]));
    settings += &text.expect("TOML");
    std::fs::write(place, settings).expect("settings");
}

/// Takes parts of the economics away, the same of every record of a visit; of what must be held nothing,
/// since that is what it may be held for.
fn with_gaps(lines: &mut [SampleLine]) -> usize {
    let mut gaps = 0;
    for line in lines {
        let Ok(mut record) = serde_json::from_slice::<Value>(&line.bytes) else {
            continue;
        };
        let is_held = matches!(line.expected, Expected::Held(_));
        let number = record["visit_id"].as_str().map_or(1, |id| {
            id.bytes().fold(0_u32, |sum, byte| sum + u32::from(byte))
        });
        let taken: &[&str] = match number % 12 {
            0 => &["treatment_cost"],
            1 => &["market_value", "plant_population"],
            2 => &["treatment_cost", "market_value", "plant_population"],
            _ => &[],
        };
        if is_held || taken.is_empty() {
            continue;
        }
        let economics = record["economics"].as_object_mut().expect("economics");
        for name in taken {
            economics.remove(*name);
        }
        if economics.is_empty() && number % 24 == 2 {
            record
                .as_object_mut()
                .expect("a record")
                .remove("economics");
        }
        line.bytes = serde_json::to_vec(&record).expect("JSON");
        gaps += 1;
    }
    gaps
}

/// The region's outlines as GeoJSON, a feature a county with its own id and name.
fn outlines(workspace: &TestWorkspace) -> String {
    let region = Region::built_in(&format!("us:{STATES}")).expect("built-in counties");
    let corners = |ring: &geo::LineString<f64>| -> Vec<[f64; 2]> {
        ring.coords().map(|corner| [corner.x, corner.y]).collect()
    };
    let features: Vec<Value> = region
        .counties()
        .iter()
        .map(|county| {
            let polygons: Vec<Vec<Vec<[f64; 2]>>> = county
                .shape
                .iter()
                .map(|polygon| {
                    let rings = std::iter::once(polygon.exterior()).chain(polygon.interiors());
                    rings.map(corners).collect()
                })
                .collect();
            json!({
                "type": "Feature", "id": county.id, "properties": {"name": county.name},
                "geometry": {"type": "MultiPolygon", "coordinates": polygons},
            })
        })
        .collect();
    let text = json!({"type": "FeatureCollection", "features": features}).to_string();
    text_of(&workspace.write("outlines.geojson", text))
}

/// The plain Python reference on one season's submissions; its account.
fn by_python(submissions: &[std::path::PathBuf], out: &Path) -> Value {
    let mut arguments: Vec<String> = submissions.iter().map(|path| text_of(path)).collect();
    let options = ["--boundaries", BOUNDARIES, "--states", STATES, "--bounds"];
    arguments.extend(options.map(str::to_owned));
    arguments.extend([bounds(), "--defaults".to_owned(), defaults().to_string()]);
    arguments.extend(["--out".to_owned(), text_of(out)]);
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let account = python("tests/reference/county_weeks.py", &arguments);
    serde_json::from_str(&account).expect("an account")
}

/// One table of the tables of several seasons.
fn join_tables(parts: &[std::path::PathBuf], whole: &Path) {
    let mut joined = String::new();
    for part in parts {
        let text = std::fs::read_to_string(part).expect("the reference wrote a table");
        let (header, rows) = text.split_once('\n').expect("a header and rows");
        if joined.is_empty() {
            joined = format!("{header}\n");
        }
        assert!(joined.starts_with(&format!("{header}\n")));
        joined += rows;
    }
    std::fs::write(whole, joined).expect("a table beside the workspace");
}

#[test]
fn every_cell_of_every_county_week_is_that_of_plain_python_and_of_duckdb() {
    let mut lines = sample();
    let gaps = with_gaps(&mut lines);
    assert!(gaps > 2_000, "{gaps} records lack economics");
    assert!(lines.len() >= LINES_MIN, "{} lines", lines.len());
    let workspace = TestWorkspace::of_region(&format!("us:{STATES}"));
    set_defaults(&workspace);
    // A visit stays within its season, so the reference may take the seasons side by side.
    let seasons: Vec<Vec<std::path::PathBuf>> = SEASONS
        .iter()
        .map(|season| {
            let of_season = |line: &&SampleLine| i32::from(line.arrives_on.year()) == *season;
            let lines: Vec<SampleLine> = lines.iter().filter(of_season).cloned().collect();
            submissions(&workspace, &format!("season-{season}"), &lines, 3)
        })
        .collect();

    let (account, by_python) = std::thread::scope(|threads| {
        let references: Vec<_> = seasons
            .iter()
            .enumerate()
            .map(|(number, submissions)| {
                let out = workspace.beside(&format!("python-{number}"));
                threads.spawn(move || {
                    let account = by_python(submissions, &out);
                    (account, out.join("county_week_full.csv"))
                })
            })
            .collect();
        let account = load(&workspace, &seasons.concat());
        let references: Vec<_> = references
            .into_iter()
            .map(|reference| reference.join().expect("the reference runs"))
            .collect();
        (account, references)
    });

    // The account: the generator's, ours and the reference's.
    assert_account(&account, lines.iter().map(|line| line.expected));
    for name in ["received", "accepted", "duplicate", "held"] {
        let counted: u64 = by_python
            .iter()
            .filter_map(|(account, _)| account[name].as_u64())
            .sum();
        assert_eq!(account[name], counted, "{name}");
    }

    let numbers = ["received", "accepted", "duplicate", "held"].map(|name| account[name].clone());
    println!("received, accepted, duplicate, held: {numbers:?}");

    // The figures.
    let figures = workspace.beside("figures");
    workspace
        .run(&["rollup", "--out", &text_of(&figures)])
        .expect_code(0);
    let ours = text_of(&figures.join("private/county_week_full.csv"));
    let parts: Vec<_> = by_python.into_iter().map(|(_, table)| table).collect();
    let plain = workspace.beside("python.csv");
    join_tables(&parts, &plain);
    let compared = python(COMPARE, &[&ours, &text_of(&plain)]);
    // The county's name and eighteen figures.
    assert_compared(&compared, "plain Python", 20);

    // All of it published, the public tables follow from the private ones by the rule, in another program.
    let package = text_of(&workspace.beside("package"));
    workspace
        .run(&["export", "--level", "public", "--out", &package])
        .expect_code(0);
    let published = workspace.beside("published");
    workspace
        .run(&["rollup", "--out", &text_of(&published)])
        .expect_code(0);
    python(
        "tests/reference/disclosure.py",
        &[
            &text_of(&published),
            "--level",
            "survey",
            "--boundaries",
            &outlines(&workspace),
        ],
    );

    let duckdb = workspace.beside("duckdb");
    let store = text_of(&workspace.path().join("store"));
    let out = text_of(&duckdb);
    let defaults = defaults().to_string();
    let arguments = [
        &*store,
        "--boundaries",
        BOUNDARIES,
        "--defaults",
        &*defaults,
        "--out",
        &*out,
    ];
    let read = python("tests/reference/county_weeks_duckdb.py", &arguments);
    let read: Value = serde_json::from_str(&read).expect("what DuckDB read");
    assert_eq!(read["revisions"], account["accepted"]);
    // The quantiles of a range and neighbors are no business of SQL: plain Python alone has judged these.
    let theirs = text_of(&duckdb.join("county_week_full.csv"));
    let further = [
        "fields_undetermined",
        "window_opens",
        "window_closes",
        "window_basis",
    ];
    let compared = python(COMPARE, &[&[&*ours, &*theirs][..], &further].concat());
    assert_compared(&compared, "DuckDB", 16);

    // At threshold and below, inside and outside the window: all of it occurs.
    let text = std::fs::read_to_string(&ours).expect("our table");
    let rows: Vec<Vec<&str>> = text
        .lines()
        .skip(1)
        .map(|row| row.split(',').collect())
        .collect();
    let header: Vec<&str> = text.lines().next().expect("a header").split(',').collect();
    let place = |name: &str| header.iter().position(|column| *column == name);
    let count = |name: &str, wanted: &dyn Fn(&str) -> bool| {
        let place = place(name).unwrap_or_else(|| panic!("no column {name}"));
        rows.iter().filter(|row| wanted(row[place])).count()
    };
    let some = |cell: &str| !matches!(cell, "" | "0");
    let shown = count("fields_visited", &some);
    let at_threshold = count("fields_at_threshold", &some);
    let undetermined = count("fields_undetermined", &some);
    let outside = count("fields_visited", &|cell| cell == "0");
    let assumed = count("fields_with_assumed_economics", &some);
    println!(
        "{shown} with figures, {at_threshold} with fields at threshold, {outside} outside the window"
    );
    for (what, rows) in [
        ("with figures", shown),
        ("with fields at threshold", at_threshold),
        ("with undetermined fields", undetermined),
        ("outside the window", outside),
        ("with assumed economics", assumed),
    ] {
        assert!(rows >= 100, "only {rows} county-weeks {what}");
    }
}

/// The comparison fails by itself where a cell differs; here that it compared what it should.
fn assert_compared(report: &str, with: &str, columns: usize) {
    println!("against {with}: {}", report.trim());
    let words: Vec<&str> = report.split_whitespace().collect();
    let [rows, "rows", "compared,", cells, "cells,", ..] = words[..] else {
        panic!("the comparison wrote: {report}");
    };
    let (rows, cells): (usize, usize) =
        (rows.parse().expect("rows"), cells.parse().expect("cells"));
    assert!(rows > 2_000, "{rows} rows");
    assert_eq!(cells, rows * columns);
}
