//! Packages for researchers: other people's validators pass them, a stranger computes the county-weeks again from a
//! full one, nothing private is in one that may be handed on, and the same choices give the same bytes.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

use bractline::region::Region;
use bractline::sample::{Landscape, SampleLines, SampleOptions};
use serde_json::{Value, json};

use crate::generated::{load, submissions, text_of};
use crate::issuing::{loaded, visits};
use crate::privacy::{Marked, readable};
use crate::support::{TestWorkspace, bractline, folder_bytes, lines, python};

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

/// A package in a folder beside the workspace; its place and what the program said of it.
fn package(workspace: &TestWorkspace, name: &str, options: &[&str]) -> (PathBuf, Value) {
    let out = workspace.beside(name);
    let place = text_of(&out);
    let run = workspace.run(&[&["export", "--out", &place, "--format", "json"], options].concat());
    (out, run.expect_code(0).json())
}

fn told(script: &str, arguments: &[&Path]) -> Value {
    let arguments: Vec<String> = arguments.iter().map(|path| text_of(path)).collect();
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let script = format!("tests/reference/{script}");
    serde_json::from_str(&python(&script, &arguments)).expect("JSON from a program of ours")
}

fn set(workspace: &TestWorkspace, from: &str, to: &str) {
    let path = workspace.path().join("bractline.toml");
    let text = std::fs::read_to_string(&path).expect("settings");
    assert!(text.contains(from), "{from}");
    std::fs::write(path, text.replace(from, to)).expect("settings");
}

const FULL: [&str; 3] = ["--level", "full", "--private"];
const GRID: [&str; 2] = ["--level", "grid"];

/// frictionless, python-dwca-reader, metapype, the schema of CITATION.cff, pyarrow, DuckDB, geopandas and the
/// validator of GeoParquet: see the program.
#[test]
fn every_level_passes_the_validators_and_is_read_by_other_programs() {
    let workspace = invented(vec![2026]);
    set(
        &workspace,
        "license = \"\"\nlicense_url = \"\"",
        "license = \"CC-BY-4.0\"\nlicense_url = \"https://creativecommons.org/licenses/by/4.0/\"",
    );
    for (name, options) in [("public", &[][..]), ("grid", &GRID), ("full", &FULL)] {
        let (out, said) = package(&workspace, name, options);
        assert_eq!(said["level"], name);
        assert_eq!(said["private"], name == "full");
        let told = told("check_package.py", &[&out]);
        let rows = said["tables"].as_array().expect("tables").iter();
        for table in rows {
            assert_eq!(
                told["rows"][table[0].as_str().expect("a name")],
                table[1],
                "{told:#}"
            );
        }
        assert_eq!(told["licenses"][0]["name"], "CC-BY-4.0");
        assert_eq!(told["citation"]["license"], "CC-BY-4.0");
        assert!(
            told["invented"]
                .as_str()
                .is_some_and(|notice| notice.contains("nvented"))
        );
        let events = &told["darwin_core"];
        for what in ["present", "absent", "measurements"] {
            // In a week with enough fields of a county there is always one with something.
            let may_lack = name == "public" && what == "absent";
            assert!(
                may_lack || events[what].as_u64() > Some(0),
                "{what}: {told:#}"
            );
        }
        let placed = events["with_place"].as_u64();
        assert_eq!(placed > Some(0), name != "public", "{told:#}");
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
        for part in [
            "The label is the law",
            "CC-BY-4.0",
            "--store-version 1",
            "bractline ",
        ] {
            assert!(readme.contains(part), "{part}");
        }
    }
}

/// Visits of heads, of plants and of traps with nights, over three counties and two weeks.
fn three_protocols() -> TestWorkspace {
    let region = Region::built_in("us:46").expect("South Dakota");
    let workspace = TestWorkspace::of_region("us:46");
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

#[test]
fn a_stranger_builds_every_county_week_again_from_a_full_package() {
    for (workspace, rows, shown) in [
        (invented(vec![2025, 2026]), 120, 40),
        (three_protocols(), 18, 12),
    ] {
        let (out, _) = package(&workspace, "full", &FULL);
        let told = told("rebuild_county_week.py", &[&out]);
        assert_eq!(told["differences"], json!([]), "{told:#}");
        assert!(told["rows"].as_u64() >= Some(rows), "{told:#}");
        assert!(told["shown"].as_u64() >= Some(shown), "{told:#}");
    }
}

#[test]
fn nothing_of_a_field_is_in_a_package_that_may_be_handed_on() {
    let workspace = invented(vec![2026]);
    let (full, _) = package(&workspace, "full", &FULL);
    for (name, options) in [("public", &[][..]), ("grid", &GRID)] {
        let (out, _) = package(&workspace, name, options);
        let told = told("search_package.py", &[&full, &out]);
        assert_eq!(told["found"], json!([]), "{told:#}");
        assert!(told["secrets"].as_u64() > Some(500), "{told:#}");
        if name == "grid" {
            // Some rows tell a cell and others their county.
            assert!(
                told["grid"].as_object().expect("groups").len() > 2,
                "{told:#}"
            );
        }
    }
}

/// Marked ids, notes, sides, outlines and points in every member that holds them.
#[test]
fn no_mark_of_a_visit_is_in_any_byte_of_a_package_that_may_be_handed_on() {
    let workspace = TestWorkspace::of_region("us:46");
    let marked = Marked::season();
    workspace.load_text("marked.ndjson", &lines(&marked.visits));
    for (name, options) in [("public", &[][..]), ("grid", &GRID), ("full", &FULL)] {
        let (out, said) = package(&workspace, name, options);
        let mut found = 0;
        for (file, bytes) in unpacked(&folder_bytes(&out)) {
            let text = readable(&out.join(&file), &bytes);
            found += marked
                .marks
                .iter()
                .filter(|mark| text.contains(mark.as_str()))
                .count();
        }
        assert_eq!(found > 0, name == "full", "{name}: {found}");
        if name == "grid" {
            // The five fields of the county that is shown, and no others.
            assert_eq!(said["tables"][1], json!(["field_week", 5]));
        }
    }
}

/// The files, and those that are packed in one.
fn unpacked(files: &BTreeMap<String, Vec<u8>>) -> BTreeMap<String, Vec<u8>> {
    let mut all = files.clone();
    let packed = std::io::Cursor::new(files["dwca.zip"].clone());
    let mut archive = zip::ZipArchive::new(packed).expect("an archive");
    for place in 0..archive.len() {
        let mut part = archive.by_index(place).expect("a part");
        let mut bytes = Vec::new();
        std::io::Read::read_to_end(&mut part, &mut bytes).expect("bytes");
        let name = part.name().expect("a name").into_owned();
        all.insert(format!("dwca-{name}"), bytes);
    }
    all.remove("dwca.zip");
    all
}

/// Tables and events of a package. The other files tell when the newest report came in.
fn tables(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut files = unpacked(&folder_bytes(folder));
    files.retain(|name, _| name.ends_with(".csv") || name.ends_with(".parquet"));
    files
}

/// Visits of a county with two fields: its weeks are withheld. Other counts there move no byte of a table; one more
/// egg in a county that is shown does.
#[test]
fn what_is_withheld_moves_no_byte() {
    let region = Region::built_in("us:46").expect("South Dakota");
    let made = |small_eggs: usize, small_fields: usize, shown_eggs: usize| {
        let workspace = TestWorkspace::of_region("us:46");
        let day = "2026-07-14";
        let mut all = visits(&region, "46013", 4, day, shown_eggs);
        all.extend(visits(&region, "46099", small_fields, day, small_eggs));
        workspace.load_text("visits.ndjson", &lines(&all));
        [("public", &[][..]), ("grid", &GRID)]
            .map(|(name, options)| tables(&package(&workspace, name, options).0))
    };
    let [before, other, more, moved] =
        [made(1, 2, 1), made(30, 2, 1), made(3, 1, 1), made(1, 2, 2)];
    for level in 0..2 {
        assert!(
            before[level] == other[level],
            "the counts of a county that is withheld are told"
        );
        assert!(
            before[level] == more[level],
            "how many fields are withheld is told"
        );
        assert!(before[level] != moved[level], "nothing moves at all");
    }
}

#[test]
fn the_same_choices_give_the_same_bytes_whatever_comes_in_later() {
    let (workspace, mut later) = loaded();
    workspace
        .run(&["alert", "--week", "2026-W30", "--issue"])
        .expect_code(0);
    let levels = [
        ("public", &[][..]),
        ("grid", &GRID[..]),
        ("full", &FULL[..]),
    ];
    let mut before = Vec::new();
    let mut issued = Vec::new();
    for (name, options) in levels {
        let (out, said) = package(&workspace, name, options);
        assert_eq!(said["store_version"], 1);
        before.push(folder_bytes(&out));
        let options = [options, &["--as-issued", "1"]].concat();
        issued.push(folder_bytes(
            &package(&workspace, &format!("{name}-issued"), &options).0,
        ));
    }
    for visit in &mut later {
        visit["revision"] = 2.into();
        visit["sites"][0]["heads"][0][0] = 99.into();
    }
    workspace.load_text("later.ndjson", &lines(&later));
    for (place, (name, options)) in levels.into_iter().enumerate() {
        let (newest, _) = package(&workspace, &format!("{name}-newest"), options);
        assert!(folder_bytes(&newest) != before[place], "{name}");
        let version = [options, &["--store-version", "1"]].concat();
        let (again, _) = package(&workspace, &format!("{name}-again"), &version);
        assert!(
            folder_bytes(&again) == before[place],
            "{name} of the same version differs"
        );
        let number = [options, &["--as-issued", "1"]].concat();
        let (again, _) = package(&workspace, &format!("{name}-issued-again"), &number);
        assert!(
            folder_bytes(&again) == issued[place],
            "{name} as issued differs"
        );
        assert!(tables(&again).len() >= 8);
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
    let (none, said) = package(&workspace, "none", &["--season", "1999", "--level", "grid"]);
    assert_eq!(said["tables"][0], json!(["visit", 0]));
    told("check_package.py", &[&none, Path::new("empty")]);
}

#[test]
fn what_cannot_be_made_is_refused_and_leaves_nothing() {
    let (workspace, _) = loaded();
    let out = text_of(&workspace.beside("out"));
    for (options, code, says) in [
        (&["--level", "full"][..], 1, "--private"),
        (&["--private"], 1, "--level full"),
        (&["--level", "grid", "--private"], 1, "--level full"),
        (&["--level", "secret"], 2, "public"),
        (&["--store-version", "99"], 1, "has no version 99"),
        (&["--as-issued", "3"], 1, "3"),
        (
            &["--as-issued", "1", "--store-version", "1"],
            2,
            "cannot be used with",
        ),
    ] {
        let run = workspace.run(&[&["export", "--out", &out], options].concat());
        let run = run.expect_code(code);
        assert!(run.stderr.contains(says), "{options:?}: {run:?}");
        assert!(!Path::new(&out).exists(), "{options:?}");
    }
    // What lies there would be handed on with the package.
    let full = workspace.beside("full");
    package(&workspace, "full", &FULL);
    let before = folder_bytes(&full);
    let run = workspace
        .run(&["export", "--out", &text_of(&full)])
        .expect_code(1);
    assert!(run.stderr.contains("not empty"), "{run:?}");
    assert!(folder_bytes(&full) == before);
    for (from, to) in [
        ("license = \"\"", "license = \"do as you like\""),
        ("license_url = \"\"", "license_url = \"somewhere\""),
    ] {
        set(&workspace, from, to);
        let run = workspace.run(&["export", "--out", &out]).expect_code(1);
        assert!(run.stderr.contains("[data]"), "{run:?}");
        set(&workspace, to, from);
    }
}

/// What a package says where nothing is stated: no licence is invented, and no name.
#[test]
fn what_is_not_stated_is_said_not_to_be() {
    let (workspace, _) = loaded();
    let (out, _) = package(&workspace, "public", &[]);
    let files = folder_bytes(&out);
    let text = |name: &str| String::from_utf8(files[name].clone()).expect("UTF-8");
    assert!(text("README.md").contains("licence of the data is not stated"));
    assert!(!text("CITATION.cff").contains("license"));
    assert!(!text("datapackage.json").contains("\"licenses\""));
    assert!(
        !text("README.md").contains("nvented"),
        "real counties are not invented"
    );
}

/// The examples of the sample data print what the alert of the same week says.
#[test]
fn the_examples_reproduce_figures_of_the_alert() {
    let workspace = invented(vec![2026]);
    let (out, _) = package(&workspace, "public", &[]);
    let week = "2026-W32";
    workspace.run(&["alert", "--week", week]).expect_code(0);
    let alert = workspace.path().join("alerts").join(week).join("alert.md");
    let alert = std::fs::read_to_string(alert).expect("the alert");
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
    // "2026-W32: 15 of 70 fields in 11 counties at threshold; highest median 1.34 in Dunmallow (invented)"
    let words: Vec<&str> = line.split(' ').collect();
    let [at, visited, counties, median] = [1, 3, 6, 12].map(|place| words[place]);
    assert_eq!(words[0], format!("{week}:"), "{line}");
    let county = line.split(" in ").last().expect("a county");
    for said in [
        format!(
            "In the {counties} counties with enough fields to show, scouts visited {visited} fields"
        ),
        format!("; {at} of them were at or above their own economic injury level"),
        format!("Pressure was highest in {county}, with a median of {median}:"),
    ] {
        assert!(alert.contains(&said), "{said}\n{alert}");
    }
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
    set(
        &workspace,
        "name = \"\"",
        "name = \"a: - <office> & 'x' | #\"",
    );
    let submission = Path::new("sample_data/submissions/2026-W32.ndjson");
    load(&workspace, &[submission.to_owned()]);
    for (name, options) in [("public", &[][..]), ("grid", &GRID), ("full", &FULL)] {
        let (out, _) = package(&workspace, name, options);
        told("check_package.py", &[&out]);
        let readme = std::fs::read_to_string(out.join("README.md")).expect("README.md");
        assert!(
            !readme.contains("<b>") && !readme.contains('\u{202e}'),
            "{readme}"
        );
    }
}
