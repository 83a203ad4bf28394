//! Packages for researchers: other people's validators pass them, a stranger computes the county-weeks again from a
//! full one, nothing private is in a public one, which publishes what it writes, and the same choices give the same bytes.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use bractline::demo::{Landscape, SampleLines, SampleOptions};
use bractline::region::Region;
use serde_json::{Value, json};

use crate::generated::{load, submissions, text_of};
use crate::issuing::{loaded, visits};
use crate::privacy::{Marked, readable};
use crate::support::{TestWorkspace, assert_private, bractline, folder_bytes, lines, python};

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

const FULL: [&str; 3] = ["--level", "full", "--private"];
const GRID: [&str; 3] = ["--level", "grid", "--private"];

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
        let told = told("check_package.py", &[&out]);
        let rows = said["tables"].as_array().expect("tables").iter();
        for table in rows {
            assert_eq!(
                told["rows"][table[0].as_str().expect("a name")],
                table[1],
                "{told:#}"
            );
        }
        // A private package goes by its terms alone.
        let licence = match name {
            "public" => json!("CC-BY-4.0"),
            _ => Value::Null,
        };
        assert_eq!(told["licenses"][0]["name"], licence);
        assert_eq!(told["citation"]["license"], licence);
        assert!(
            told["invented"]
                .as_str()
                .is_some_and(|notice| notice.contains("nvented"))
        );
        let events = &told["darwin_core"];
        for what in ["present", "absent", "measurements"] {
            // In a county and week with enough fields there is always one with something.
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
        package(&workspace, "public", &[]);
        let (out, _) = package(&workspace, "full", &FULL);
        let told = told("rebuild_county_week.py", &[&out]);
        assert_eq!(told["differences"], json!([]), "{told:#}");
        assert!(told["rows"].as_u64() >= Some(rows), "{told:#}");
        assert!(told["shown"].as_u64() >= Some(shown), "{told:#}");
    }
}

#[test]
fn nothing_that_leads_back_to_a_field_is_in_a_public_package_or_one_of_the_grid() {
    let workspace = invented(vec![2026]);
    let (full, _) = package(&workspace, "full", &FULL);
    for (name, options) in [("public", &[][..]), ("grid", &GRID)] {
        let (out, _) = package(&workspace, name, options);
        let told = told("search_package.py", &[&full, &out]);
        assert_eq!(told["found"], json!([]), "{told:#}");
        assert!(told["secrets"].as_u64() > Some(500), "{told:#}");
        assert!(told["coarse"].as_u64() > Some(20), "{told:#}");
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
fn no_mark_of_a_visit_is_in_any_byte_of_a_public_package_or_one_of_the_grid() {
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

/// Visits of a county with two fields: they are in no row. Other counts there move no byte of a table; one more egg in
/// a county with a row does.
#[test]
fn what_is_withheld_moves_no_byte() {
    let region = Region::built_in("us:46").expect("South Dakota");
    let made = |small_eggs: usize, small_fields: usize, shown_eggs: usize| {
        let workspace = TestWorkspace::of_region("us:46");
        let day = "2026-07-14";
        let mut all = visits(&region, "46013", 5, day, shown_eggs);
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
    let query = "select count(*) as n from county_week where season = 2025";
    let run = workspace.run(&["sql", query, "--format", "json"]);
    assert_eq!(run.expect_code(0).json(), json!([{ "n": 0 }]));
    let (none, said) = package(
        &workspace,
        "none",
        &["--season", "1999", "--level", "grid", "--private"],
    );
    assert_eq!(said["tables"][0], json!(["visit", 0]));
    told("check_package.py", &[&none, Path::new("empty")]);
}

#[test]
fn what_cannot_be_made_is_refused_and_publishes_and_leaves_nothing() {
    let (workspace, _) = loaded();
    let out = text_of(&workspace.beside("out"));
    for (options, code, says) in [
        (&["--level", "full"][..], 1, "TERMS.md"),
        (&["--level", "grid"], 1, "TERMS.md"),
        (&["--private"], 1, "levels grid and full"),
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
    // What is there would be handed on with the package.
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
        workspace.change_setting(from, to);
        let run = workspace.run(&["export", "--out", &out]).expect_code(1);
        assert!(run.stderr.contains("[data]"), "{run:?}");
        workspace.change_setting(to, from);
    }
    assert_eq!(published_rows(&workspace), 0);
}

/// How many rows of counties are public.
fn published_rows(workspace: &TestWorkspace) -> u64 {
    let query = "select count(*) as n from county_week";
    let run = workspace.run(&["sql", query, "--format", "json"]);
    run.expect_code(0).json()[0]["n"].as_u64().expect("a count")
}

#[test]
fn a_public_package_publishes_its_rows_once_and_says_how_many() {
    let (workspace, _) = loaded();
    // Private packages, and those of a version, publish nothing.
    for (name, options) in [
        ("grid", &GRID[..]),
        ("full", &FULL),
        ("version", &["--store-version", "1"]),
        ("other", &["--season", "2025"]),
    ] {
        let (out, said) = package(&workspace, name, options);
        assert_eq!(said["rows_made_public"], 0, "{name}");
        let public = std::fs::read_to_string(out.join("county_week.csv")).expect("a table");
        assert_eq!(public.lines().count(), 1, "{name}: {public}");
        assert_eq!(published_rows(&workspace), 0, "{name}");
    }
    // Three counties of four fields in two weeks; the two fields of the fourth are in no row.
    let (first, said) = package(&workspace, "first", &["--season", "2026"]);
    assert_eq!(said["rows_made_public"], 6);
    assert_eq!(said["tables"][0], json!(["county_week", 6]));
    assert_eq!(published_rows(&workspace), 6);
    let text = std::fs::read_to_string(first.join("county_week.csv")).expect("a table");
    assert!(!text.contains("46099"), "{text}");
    let (again, said) = package(&workspace, "again", &["--season", "2026"]);
    assert_eq!(said["rows_made_public"], 0);
    assert!(folder_bytes(&first) == folder_bytes(&again));
    let out = text_of(&workspace.beside("text"));
    let run = workspace.run(&["export", "--out", &out]).expect_code(0);
    assert!(
        run.stdout
            .contains("0 rows became public with this package"),
        "{run:?}"
    );
    // What is public is so for the roll-up and the alert too.
    let figures = text_of(&workspace.beside("figures"));
    let run = workspace.run(&["rollup", "--out", &figures, "--format", "json"]);
    let said = run.expect_code(0).json();
    assert_eq!(said["in_public_rows"], 6, "{said:#}");
    assert_eq!(said["not_public_yet"], 0, "{said:#}");
}

/// Each row becomes public once, whoever comes first, and what is written is the same.
#[test]
fn two_exports_at_once_publish_each_row_once() {
    let (workspace, _) = loaded();
    let started = ["one", "two"].map(|name| {
        let out = text_of(&workspace.beside(name));
        let mut command = workspace.command(&["export", "--out", &out, "--format", "json"]);
        command.stdout(Stdio::piped());
        command.spawn().expect("the program starts")
    });
    let made = started.map(|child| {
        let output = child.wait_with_output().expect("the program ends");
        assert!(output.status.success(), "{output:?}");
        let said: Value = serde_json::from_slice(&output.stdout).expect("JSON");
        said["rows_made_public"].as_u64().expect("a count")
    });
    assert_eq!(made.iter().sum::<u64>(), 6, "{made:?}");
    assert_eq!(published_rows(&workspace), 6);
    let [one, two] = ["one", "two"].map(|name| folder_bytes(&workspace.beside(name)));
    assert!(one == two);
}

#[test]
fn a_row_that_was_taken_back_is_in_no_package_until_its_week_is_issued_again() {
    let (workspace, _) = loaded();
    let issue = ["alert", "--week", "2026-W30", "--issue"];
    workspace.run(&issue).expect_code(0);
    let rows = |name: &str, options: &[&str]| {
        let (out, said) = package(&workspace, name, options);
        let text = std::fs::read_to_string(out.join("county_week.csv")).expect("a table");
        (
            text.matches("2026-W30").count(),
            said["rows_made_public"].clone(),
        )
    };
    assert_eq!(rows("as-issued", &["--as-issued", "1"]), (3, json!(0)));
    let reason = [
        "alert",
        "--withdraw",
        "1",
        "--reason",
        "counts of another week",
    ];
    workspace.run(&reason).expect_code(0);
    assert_eq!(rows("withdrawn", &["--as-issued", "1"]), (0, json!(0)));
    // The other week becomes public, and this one not by the way.
    assert_eq!(rows("now", &[]), (0, json!(3)));
    assert_eq!(rows("still", &[]), (0, json!(0)));
    workspace.run(&issue).expect_code(0);
    assert_eq!(rows("back", &[]), (3, json!(0)));
}

/// Terms for whoever takes rows of single fields, and files that nobody else can read.
#[test]
fn a_private_package_carries_its_terms_and_is_for_its_owner_alone() {
    let (workspace, _) = loaded();
    workspace.change_setting("name = \"\"", "name = \"Invented Office\"");
    for (name, options) in [("grid", &GRID), ("full", &FULL)] {
        let (out, _) = package(&workspace, name, options);
        let terms = std::fs::read_to_string(out.join("TERMS.md")).expect("the terms");
        for part in [
            "**Purpose.**",
            "**No recognizing.**",
            "**No passing on.**",
            "at least 3 fields of at",
            "| To be deleted by | \\_",
            "| Handed over by (office) | Invented Office |",
        ] {
            assert!(terms.contains(part), "{part}: {terms}");
        }
        assert!(!terms.contains('{') && !terms.contains('}'), "{terms}");
        #[cfg(unix)]
        assert_private(&out);
    }
    let (public, _) = package(&workspace, "public", &[]);
    assert!(!public.join("TERMS.md").exists());
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
        told("check_package.py", &[&out]);
        let readme = std::fs::read_to_string(out.join("README.md")).expect("README.md");
        assert!(
            !readme.contains("<b>") && !readme.contains('\u{202e}'),
            "{readme}"
        );
    }
}
