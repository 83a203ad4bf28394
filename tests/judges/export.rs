//! Packages for researchers, passed by validators, searched, and computed again by independent programs.

use std::path::Path;
use std::process::Command;

use bractline::demo::{Landscape, SampleLines, SampleOptions};
use scouting::region::Region;
use serde_json::{Value, json};

use crate::judge::python;
use crate::support::export::{FULL, GRID, package, tables};
use crate::support::generated::{load, submissions};
use crate::support::issuing::visits;
use crate::support::privacy::readable;
use crate::support::sheet::bsm_eggs_text;
use crate::support::{TestWorkspace, bractline, lines, text_of};

/// Seasons of the invented region.
fn invented(seasons: Vec<i32>) -> TestWorkspace {
    let workspace = TestWorkspace::of_invented_region();
    let options = SampleOptions {
        seasons,
        ..SampleOptions::default()
    };
    let shapes = Landscape::draw(options.seed).shapes();
    let lines: Vec<_> = SampleLines::new(&shapes, &options)
        .expect("counties")
        .collect();
    load(&workspace, &submissions(&workspace, "visits", &lines, 1));
    workspace
}

fn report(script: &str, arguments: &[&Path]) -> Value {
    let arguments: Vec<String> = arguments.iter().map(|path| text_of(path)).collect();
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let script = format!("tests/reference/{script}");
    serde_json::from_str(&python(&script, &arguments)).expect("JSON from a program of ours")
}

/// frictionless, python-dwca-reader, metapype, the schema of CITATION.cff, pyarrow, DuckDB, geopandas and the
/// validator of GeoParquet: see the program.
#[test]
fn every_level_passes_the_validators_and_is_read_by_other_programs() {
    let workspace = invented(vec![2026]);
    workspace.change_setting(
        "license = \"\"\nlicense_url = \"\"",
        "license = \"CC-BY-4.0\"\nlicense_url = \"https://creativecommons.org/licenses/by/4.0/\"",
    );
    for (name, options) in [("public", &[][..]), ("grid", &GRID), ("full", &FULL)] {
        let (out, said) = package(&workspace, name, options);
        assert_eq!(said["level"], name);
        assert_eq!(said["private"], name != "public");
        let report = report("check_package.py", &[&out]);
        let rows = said["tables"].as_array().expect("tables").iter();
        for table in rows {
            assert_eq!(
                report["rows"][table[0].as_str().expect("a name")],
                table[1],
                "{report:#}"
            );
        }
        // Only its terms govern a private package.
        let license = match name {
            "public" => json!("CC-BY-4.0"),
            _ => Value::Null,
        };
        assert_eq!(report["licenses"][0]["name"], license);
        assert_eq!(report["citation"]["license"], license);
        assert!(
            report["invented"]
                .as_str()
                .is_some_and(|notice| notice.contains("nvented"))
        );
        let events = &report["darwin_core"];
        for what in ["present", "absent", "measurements"] {
            // In a county and week with enough fields there is always one with something.
            let may_lack = name == "public" && what == "absent";
            assert!(
                may_lack || events[what].as_u64() > Some(0),
                "{what}: {report:#}"
            );
        }
        let placed = events["with_place"].as_u64();
        assert_eq!(placed > Some(0), name != "public", "{report:#}");
        let every = [
            "README.md",
            "DICTIONARY.md",
            "CITATION.cff",
            "datapackage.json",
        ];
        for file in every {
            let text = std::fs::read_to_string(out.join(file)).expect("a text");
            assert!(
                text.contains("nvented"),
                "{file} does not say that it is invented"
            );
        }
        let readme = std::fs::read_to_string(out.join("README.md")).expect("README.md");
        let terms = match name {
            "public" => "CC-BY-4.0",
            _ => "TERMS.md alone",
        };
        for part in [
            "The label is the law",
            terms,
            "--store-version 1",
            "bractline ",
        ] {
            assert!(readme.contains(part), "{part}");
        }
    }
}

/// Effort by NumPy from the visits and raw counts of a full package, heat sums from its days.
#[test]
fn effort_and_heat_of_a_package_are_computed_again() {
    let workspace = invented(vec![2026]);
    let days = (1..=31).map(|day| format!("2026-07-{day:02},{}.5,{}.0\n", day % 13, 20 + day % 9));
    let text = format!("date,tmin_c,tmax_c\n{}", days.collect::<String>());
    std::fs::write(workspace.path().join("weather.csv"), text).expect("invented weather");
    workspace.change_setting("# file = \"weather.csv\"", "file = \"weather.csv\"");
    workspace.change_setting("heat_from = \"01-01\"", "heat_from = \"07-01\"");
    let (out, _) = package(&workspace, "full", &FULL);
    let report = report("effort.py", &[&out]);
    assert!(report["rows"].as_u64() > Some(50), "{report}");
    assert!(report["heat"].as_u64() >= Some(31), "{report}");
}

/// pyarrow reads the files of a query.
#[test]
fn answers_of_queries_are_read_by_pyarrow() {
    let workspace = invented(vec![2026]);
    let query = "select c.visit_id, c.revision, c.retracted, c.lon, f.pressure, f.farm_id from current_visits c \
                 inner join field_week f on c.visit_id = f.visit_id order by c.visit_id";
    let files = ["parquet", "arrow", "csv"].map(|format| {
        let out = workspace.beside(&format!("answer.{format}"));
        let place = text_of(&out);
        workspace
            .run(&["sql", query, "--format", format, "--out", &place])
            .expect_code(0);
        out
    });
    let report = report("query_files.py", &[&files[0], &files[1], &files[2]]);
    assert!(report["rows"].as_u64() > Some(50), "{report}");
    assert_eq!(report["types"][0], "string", "{report}");
}

/// Visits of heads, of plants and of traps with nights, over three counties and two weeks
/// that start on a day.
fn three_protocols(week_starts: &str) -> TestWorkspace {
    let region = Region::built_in("us:46").expect("South Dakota");
    let workspace = TestWorkspace::of_region("us:46");
    let starts = format!("starts = {week_starts:?}");
    workspace.change_setting("starts = \"Monday\"", &starts);
    let mut all = Vec::new();
    for (county, fields) in [("46013", 5), ("46015", 4), ("46065", 2)] {
        for day in ["2026-07-14", "2026-07-21"] {
            for (protocol, stage) in [("rssw", "R5.1"), ("sunflower-moth-traps", "R5.1")] {
                for (number, mut visit) in visits(&region, county, fields, day, 1)
                    .into_iter()
                    .enumerate()
                {
                    visit["visit_id"] = format!("{protocol}-{county}-{number}-{day}").into();
                    visit["protocol"] = protocol.into();
                    visit["crop_stage"] = stage.into();
                    let count = number + 2;
                    let site = |site: usize| match protocol {
                        "rssw" => json!({ "site": site, "plants": vec![count + site; 5] }),
                        _ => {
                            json!({ "site": site, "traps": [{ "catch": 9 * count, "nights": 1 + site }] })
                        }
                    };
                    visit["sites"] = (1..=5).map(site).collect();
                    all.push(visit);
                }
            }
            all.extend(visits(&region, county, fields, day, 1));
        }
    }
    let account = workspace.load_text("visits.ndjson", &lines(&all));
    assert_eq!(account["accepted"], all.len(), "{account:#}");
    workspace
}

/// Visits under a protocol with zones that differ in mean, two sites at the edge of each field and three inside.
fn zoned() -> TestWorkspace {
    let region = Region::built_in("us:46").expect("South Dakota");
    let workspace = TestWorkspace::of_region("us:46");
    let zones = "[sample.zones]\nedge = 0.25\ninside = 0.75\n\n[stages]";
    let protocols = workspace.path().join("protocols");
    std::fs::create_dir_all(&protocols).expect("a folder");
    let text = bsm_eggs_text().replace("[stages]", zones);
    std::fs::write(protocols.join("zoned.toml"), text).expect("a file");
    let mut all = Vec::new();
    for (county, fields) in [("46013", 5), ("46015", 4), ("46065", 2)] {
        for (number, mut visit) in (1..).zip(visits(&region, county, fields, "2026-07-14", 1)) {
            visit["protocol"] = "zoned".into();
            let site = |site: usize| {
                let (zone, eggs) = match site {
                    1 | 4 => ("edge", 3 * number + site),
                    _ => ("Inside", number + 2 * site),
                };
                json!({ "site": site, "side": zone, "heads": vec![vec![eggs, 0, 1, 0, 0, 0]; 5] })
            };
            visit["sites"] = (1..=5).map(site).collect();
            all.push(visit);
        }
    }
    let account = workspace.load_text("visits.ndjson", &lines(&all));
    assert_eq!(account["accepted"], all.len(), "{account:#}");
    workspace
}

#[test]
fn a_stranger_builds_every_county_week_again_from_a_full_package() {
    for (workspace, rows, shown) in [
        (invented(vec![2025, 2026]), 120, 40),
        (three_protocols("Monday"), 18, 12),
        (three_protocols("Thursday"), 18, 12),
        (zoned(), 3, 2),
    ] {
        package(&workspace, "public", &[]);
        let (out, _) = package(&workspace, "full", &FULL);
        let report = report("rebuild_county_week.py", &[&out]);
        assert_eq!(report["differences"], json!([]), "{report:#}");
        assert!(report["rows"].as_u64() >= Some(rows), "{report:#}");
        assert!(report["shown"].as_u64() >= Some(shown), "{report:#}");
    }
}

#[test]
fn nothing_that_leads_back_to_a_field_is_in_a_public_package_or_one_of_the_grid() {
    let workspace = invented(vec![2026]);
    let (full, _) = package(&workspace, "full", &FULL);
    for (name, options) in [("public", &[][..]), ("grid", &GRID)] {
        let (out, _) = package(&workspace, name, options);
        let report = report("search_package.py", &[&full, &out]);
        assert_eq!(report["found"], json!([]), "{report:#}");
        assert!(report["secrets"].as_u64() > Some(500), "{report:#}");
        assert!(report["coarse"].as_u64() > Some(20), "{report:#}");
        if name == "grid" {
            // Some rows tell a cell and others their county.
            assert!(
                report["grid"].as_object().expect("groups").len() > 2,
                "{report:#}"
            );
        }
    }
}

#[test]
fn one_season_alone_is_taken_home() {
    let workspace = invented(vec![2025, 2026]);
    let (out, _) = package(&workspace, "season", &["--season", "2026"]);
    for (name, bytes) in tables(&out) {
        let text = readable(&out.join(&name), &bytes);
        assert!(!text.contains("2025-W"), "{name}");
    }
    let query = "select count(*) as n from county_week where season = 2025";
    let run = workspace.run(&["sql", query, "--format", "json"]);
    assert_eq!(run.expect_code(0).json(), json!([{ "n": 0 }]));
    let (none, said) = package(
        &workspace,
        "none",
        &["--season", "1999", "--level", "grid", "--private"],
    );
    assert_eq!(said["tables"][0], json!(["visit", 0]));
    report("check_package.py", &[&none, Path::new("empty")]);
}

/// The examples of the sample data print what the alert of the same week says.
#[test]
fn the_examples_reproduce_figures_of_the_alert() {
    let workspace = invented(vec![2026]);
    let (out, _) = package(&workspace, "public", &[]);
    let week = "2026-W32";
    workspace.run(&["alert", "--week", week]).expect_code(0);
    let folder = workspace.path().join("alerts").join(week).join("bsm-eggs");
    let alert = std::fs::read_to_string(folder.join("alert.md")).expect("the alert");
    let alert = alert.split_whitespace().collect::<Vec<_>>().join(" ");
    let examples = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample_data/examples");
    let by_python = python(
        "tests/reference/run_example.py",
        &[&text_of(&examples), &text_of(&out)],
    );
    let mut printed: Vec<String> = by_python.lines().map(str::to_owned).collect();
    let by_r = Command::new("Rscript")
        .arg(examples.join("newest_week.R"))
        .current_dir(&out)
        .output()
        .expect("Rscript; `bash tests/run` installs what it needs");
    assert!(by_r.status.success(), "{by_r:?}");
    printed.extend(
        String::from_utf8(by_r.stdout)
            .expect("UTF-8")
            .lines()
            .map(str::to_owned),
    );
    assert_eq!(printed.len(), 3, "{printed:?}");
    let line = &printed[0];
    assert!(printed.iter().all(|other| other == line), "{printed:#?}");
    // "2026-W32: 13 to 15 of 65 fields in 10 counties at threshold; highest median 1-1.5 in 1 counties, first Dunmallow
    // (invented)"
    let words: Vec<&str> = line.split(' ').collect();
    let [least, most, visited, counties] = [1, 3, 5, 8].map(|place| words[place]);
    assert_eq!(words[0], format!("{week}:"), "{line}");
    for said in [
        format!("{counties} counties"),
        format!("{visited} fields"),
        format!("{least} to {most} of them"),
    ] {
        assert!(alert.contains(&said), "{said}\n{alert}");
    }
    let class = words[14];
    let county = line.split("first ").last().expect("a county");
    let table = std::fs::read_to_string(folder.join("county_week.csv")).expect("the table");
    let row = table.lines().find(|row| row.contains(county));
    assert!(
        row.is_some_and(|row| row.contains(class)),
        "{class}\n{table}"
    );
}

/// Names that mean no good, in every text of a package: the validators and readers take them as text.
#[test]
fn names_that_mean_no_good_stay_text() {
    let hostile = "=1+1 <b>\"x\" & 'y'\u{0}\u{202e}: - |z*\u{1f33b}, #\\";
    let own = std::fs::read_to_string("sample_data/region.geojson").expect("the region");
    let mut region: Value = serde_json::from_str(&own).expect("GeoJSON");
    for (place, county) in region["features"]
        .as_array_mut()
        .expect("features")
        .iter_mut()
        .enumerate()
    {
        county["properties"]["county_name"] = format!("{hostile}{place}").into();
    }
    for member in ["title", "source", "vintage"] {
        region[member] = hostile.into();
    }
    let workspace = TestWorkspace::empty();
    let file = workspace.write("region.geojson", region.to_string());
    let (place, file) = (text_of(&workspace.path()), text_of(&file));
    let with = [
        "--id-property",
        "county_id",
        "--name-property",
        "county_name",
    ];
    bractline(&[&["init", &place, "--region", &file], &with[..]].concat()).expect_code(0);
    workspace.change_setting("name = \"\"", "name = \"a: - <office> & 'x' | #\"");
    let submission = Path::new("sample_data/submissions/2026-W32.ndjson");
    load(&workspace, &[submission.to_owned()]);
    for (name, options) in [("public", &[][..]), ("grid", &GRID), ("full", &FULL)] {
        let (out, _) = package(&workspace, name, options);
        report("check_package.py", &[&out]);
        let readme = std::fs::read_to_string(out.join("README.md")).expect("README.md");
        assert!(
            !readme.contains("<b>") && !readme.contains('\u{202e}'),
            "{readme}"
        );
    }
}
