//! What a researcher takes along: old versions of the store, answers as files, effort, weather, and whom to cite.

use std::path::Path;

use arrow::array::{AsArray, RecordBatch};
use arrow::ipc::reader::FileReader;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use serde_json::{Value, json};

use crate::support::export::{FULL, package};
#[cfg(unix)]
use crate::support::mode;
use crate::support::plan::csv_rows;
use crate::support::{TestWorkspace, contents, folder_bytes, full_visit, lines, text_of};

/// Version 1 has three visits; version 2 a revision of one, the withdrawal of another, and a fourth.
fn two_versions() -> TestWorkspace {
    let workspace = TestWorkspace::of_region("us:46");
    let visit = |number: usize| {
        let mut visit = full_visit(&format!("v-{number}"));
        visit["field"]["field_id"] = json!(format!("F-{number}"));
        visit["field"]["farm_id"] = json!(format!("farm-{number}"));
        visit
    };
    let first: Vec<Value> = (0..3).map(visit).collect();
    workspace.load_text("first.ndjson", &lines(&first));
    let mut later = vec![visit(0), visit(1), visit(3)];
    later[0]["revision"] = 2.into();
    later[0]["sites"][0]["heads"][0][0] = 9.into();
    later[1]["revision"] = 2.into();
    later[1]["retracted"] = json!(true);
    workspace.load_text("later.ndjson", &lines(&later));
    workspace
}

fn answers(workspace: &TestWorkspace, query: &str, options: &[&str]) -> Value {
    let asked = [&["sql", query, "--format", "json"], options].concat();
    workspace.run(&asked).expect_code(0).json()
}

#[test]
fn visits_that_count_are_a_table_and_old_versions_are_read_again() {
    let workspace = two_versions();
    let old = ["--store-version", "1"];
    let ids = "select visit_id, revision from current_visits order by visit_id";
    assert_eq!(
        answers(&workspace, ids, &[]),
        json!([
            {"visit_id": "v-0", "revision": 2}, {"visit_id": "v-2", "revision": 1},
            {"visit_id": "v-3", "revision": 1}
        ])
    );
    assert_eq!(
        answers(&workspace, ids, &old),
        json!([
            {"visit_id": "v-0", "revision": 1}, {"visit_id": "v-1", "revision": 1},
            {"visit_id": "v-2", "revision": 1}
        ])
    );
    for (query, then, now) in [
        ("select count(*) as n from visits", 3, 6),
        ("select count(*) as n from receipts", 1, 2),
        ("select count(*) as n from field_week", 3, 3),
        (
            "select count(*) as n from current_visits c inner join field_week f on c.visit_id = f.visit_id",
            3,
            3,
        ),
    ] {
        assert_eq!(
            answers(&workspace, query, &old),
            json!([{ "n": then }]),
            "{query}"
        );
        assert_eq!(
            answers(&workspace, query, &[]),
            json!([{ "n": now }]),
            "{query}"
        );
    }
    let most = |options: &[&str]| {
        let query = "select max(max_pressure) as most from county_week_full";
        answers(&workspace, query, options)[0]["most"].as_f64()
    };
    assert!(most(&old) < most(&[]), "the revision has more eggs");
}

#[test]
fn a_rollup_and_a_trend_of_an_old_version_are_as_they_were() {
    let workspace = two_versions();
    let alone = TestWorkspace::of_region("us:46");
    let first = std::fs::read_to_string(workspace.beside("first.ndjson")).expect("the submission");
    alone.load_text("first.ndjson", &first);
    let made = |workspace: &TestWorkspace, command: &str, options: &[&str]| {
        let out = workspace.beside(&format!("{command}-out"));
        let place = text_of(&out);
        let asked = [&[command, "--out", &place], options].concat();
        workspace.run(&asked).expect_code(0);
        folder_bytes(&out)
    };
    for command in ["rollup", "trend"] {
        let as_it_was = made(&workspace, command, &["--store-version", "1"]);
        let then = made(&alone, command, &[]);
        assert!(as_it_was == then, "{command} of version 1 differs");
        assert!(made(&workspace, command, &[]) != then || command == "trend");
    }
}

#[test]
fn a_version_that_is_unknown_or_gone_is_refused() {
    let workspace = two_versions();
    let out = text_of(&workspace.beside("out"));
    let asked: [&[&str]; 3] = [
        &["sql", "select 1 as one from visits"],
        &["rollup", "--out", &out],
        &["trend", "--out", &out],
    ];
    for (version, says) in [("7", "no version 7"), ("-1", "no version -1")] {
        for command in asked {
            let option = format!("--store-version={version}");
            let run = workspace
                .run(&[command, &[&option]].concat())
                .expect_code(1);
            assert!(run.stderr.contains(says), "{command:?} {run:?}");
            assert!(run.stderr.contains("\nhelp:  "), "{run:?}");
        }
    }
    // As if another program had cleaned up: the receipt of the first load is gone.
    let receipts = workspace.path().join("store/receipts");
    let files = contents(&receipts);
    let log = std::fs::read_to_string(receipts.join("_delta_log/00000000000000000001.json"));
    let log = log.expect("the first load");
    let is_first = |path: &&std::path::PathBuf| {
        let name = path.file_name().and_then(|name| name.to_str());
        name.is_some_and(|name| name.ends_with(".parquet") && log.contains(name))
    };
    let file = files.keys().find(is_first).expect("a file of receipts");
    std::fs::remove_file(receipts.join(file)).expect("it can be removed");
    for command in asked {
        let run = workspace
            .run(&[command, &["--store-version", "1"]].concat())
            .expect_code(1);
        assert!(
            run.stderr
                .contains("version 1 of the store cannot be read any more"),
            "{run:?}"
        );
        assert!(run.stderr.contains("a file of it is gone"), "{run:?}");
    }
    assert!(!Path::new(&out).exists());
}

fn only_batch(batches: Vec<RecordBatch>) -> RecordBatch {
    assert_eq!(batches.len(), 1);
    batches.into_iter().next().expect("one batch")
}

#[test]
fn answers_are_files_of_parquet_and_arrow_private_ones_their_owners_alone() {
    let workspace = two_versions();
    let query = "select visit_id, revision, observed_on, crop_stage, retracted, lon from visits order by visit_id, revision";
    let file = |format: &str| workspace.beside(&format!("answer.{format}"));
    for format in ["parquet", "arrow", "csv", "json"] {
        let out = text_of(&file(format));
        let run = workspace.run(&["sql", query, "--format", format, "--out", &out]);
        let run = run.expect_code(0);
        assert_eq!(run.stdout, "");
        assert!(run.stderr.contains("private tables"), "{run:?}");
        #[cfg(unix)]
        assert_eq!(mode(&file(format)), 0o600, "{format}");
    }
    let open = |format: &str| std::fs::File::open(file(format)).expect("a file");
    let parquet = ParquetRecordBatchReaderBuilder::try_new(open("parquet")).expect("Parquet");
    let notes = parquet.metadata().file_metadata().key_value_metadata();
    let notes = format!("{notes:?}");
    assert!(
        notes.contains("private") && notes.contains("may identify a field"),
        "{notes}"
    );
    let parquet = parquet
        .build()
        .expect("rows")
        .map(|batch| batch.expect("a batch"));
    let parquet = only_batch(parquet.collect());
    let arrow = FileReader::try_new(open("arrow"), None).expect("Arrow");
    assert!(arrow.schema().metadata().contains_key("private"));
    let arrow = only_batch(arrow.map(|batch| batch.expect("a batch")).collect());
    assert_eq!(parquet.num_rows(), 6);
    assert_eq!(parquet.columns(), arrow.columns());
    assert_eq!(arrow.column(0).as_string::<i32>().value(0), "v-0");
    let csv = std::fs::read_to_string(file("csv")).expect("CSV");
    let shown = workspace
        .run(&["sql", query, "--format", "csv"])
        .expect_code(0)
        .stdout;
    assert_eq!(csv, shown);

    // What is public is for everybody; bytes without a file are refused.
    let out = text_of(&workspace.beside("public.parquet"));
    let run = workspace.run(&[
        "sql",
        "select * from county_week",
        "--format",
        "parquet",
        "--out",
        &out,
    ]);
    assert_eq!(run.expect_code(0).stderr, "");
    for format in ["parquet", "arrow"] {
        let run = workspace
            .run(&["sql", query, "--format", format])
            .expect_code(1);
        assert!(run.stderr.contains("--out FILE"), "{run:?}");
    }
}

#[test]
fn effort_and_standard_error_are_in_private_files_and_full_packages_alone() {
    let workspace = two_versions();
    let (out, _) = package(&workspace, "full", &FULL);
    let read = |out: &Path| {
        let bytes = std::fs::read(out.join("county_week_effort.csv"));
        csv_rows(&bytes.expect("a table"))
    };
    let rows = read(&out);
    assert_eq!(rows.len(), 1);
    let number = |name: &str| rows[0][name].as_f64().expect("a number");
    // Three fields of four sites of five heads.
    for (name, expected) in [
        ("fields", 3.0),
        ("visits", 3.0),
        ("fields_visited", 3.0),
        ("sites", 12.0),
        ("units", 60.0),
    ] {
        assert_eq!(number(name), expected, "{name}");
    }
    assert!(number("mean_pressure_se") > 0.0);
    let figures = workspace.beside("figures");
    workspace
        .run(&["rollup", "--out", &text_of(&figures)])
        .expect_code(0);
    assert_eq!(read(&figures.join("private")), rows);
    assert!(!figures.join("public/county_week_effort.csv").exists());
    let (public, _) = package(&workspace, "public", &[]);
    assert!(!public.join("county_week_effort.csv").exists());
    let counted = "select sum(visits) as n from county_week_effort";
    assert_eq!(answers(&workspace, counted, &[]), json!([{"n": 3}]));
}

#[test]
fn a_package_says_whom_to_cite_and_wrong_slots_are_refused() {
    let workspace = two_versions();
    let (plain, _) = package(&workspace, "plain", &[]);
    let text = |out: &Path, name: &str| std::fs::read_to_string(out.join(name)).expect("a text");
    assert!(!text(&plain, "CITATION.cff").contains("doi:"));
    workspace.change_setting(
        "doi = \"\"\nfunder = \"\"\naward = \"\"",
        "doi = \"10.5281/zenodo.5171937\"\nfunder = \"Invented Fund\"\naward = \"A-1\"\n[[data.creators]]\n\
         given_names = \"Josiah\"\nfamily_names = \"Carberry\"\norcid = \"0000-0002-1825-0097\"",
    );
    let (out, _) = package(&workspace, "cited", &[]);
    let citation = text(&out, "CITATION.cff");
    for says in [
        "doi: \"10.5281/zenodo.5171937\"",
        "  - given-names: \"Josiah\"\n    family-names: \"Carberry\"\n    orcid: \"https://orcid.org/0000-0002-1825-0097\"",
        "Funded by Invented Fund (award A-1).",
    ] {
        assert!(citation.contains(says), "{says}: {citation}");
    }
    let described: Value = serde_json::from_str(&text(&out, "datapackage.json")).expect("JSON");
    assert_eq!(described["id"], "https://doi.org/10.5281/zenodo.5171937");
    let author = &described["contributors"][0];
    assert_eq!(author["path"], "https://orcid.org/0000-0002-1825-0097");
    assert_eq!(described["contributors"][1]["roles"], json!(["funder"]));
    let readme = text(&out, "README.md");
    for says in [
        "Josiah Carberry",
        "<https://doi.org/10.5281/zenodo.5171937>",
        "Funded by",
    ] {
        assert!(readme.contains(says), "{says}: {readme}");
    }
    for (from, to, says) in [
        (
            "10.5281/zenodo.5171937",
            "https://doi.org/10.5281/x",
            "is no DOI",
        ),
        (
            "0000-0002-1825-0097",
            "0000-0002-1825-0098",
            "is no ORCID iD",
        ),
        (
            "funder = \"Invented Fund\"",
            "funder = \"\"",
            "names no funder",
        ),
        (
            "family_names = \"Carberry\"",
            "family_names = \" \"",
            "an author without a name",
        ),
    ] {
        workspace.change_setting(from, to);
        let run = workspace.run(&["store", "info"]).expect_code(1);
        assert!(
            run.stderr.contains(says) && run.stderr.contains("\nhelp:  "),
            "{run:?}"
        );
        workspace.change_setting(to, from);
    }
}

/// Thirty invented days of 10 and 24 degrees, with a gap that is too long to be filled in.
#[test]
fn the_weather_of_a_workspace_is_in_every_package() {
    let workspace = two_versions();
    let (plain, _) = package(&workspace, "plain", &[]);
    assert!(!plain.join("weather_day.csv").exists());
    let days = (1..=30).filter(|day| ![14, 15, 16, 17, 18].contains(day));
    let days = days.map(|day| format!("S-1,2026-07-{day:02},10.0,24.0\n"));
    let text = format!("station,date,tmin_c,tmax_c\n{}", days.collect::<String>());
    std::fs::write(workspace.path().join("weather.csv"), text).expect("weather");
    workspace.change_setting("# file = \"weather.csv\"", "file = \"weather.csv\"");
    workspace.change_setting("heat_from = \"01-01\"", "heat_from = \"07-01\"");
    for (name, options) in [("public", &[][..]), ("full", &FULL)] {
        let (out, _) = package(&workspace, name, options);
        let rows = |table: &str| csv_rows(&std::fs::read(out.join(table)).expect("a table"));
        let days = rows("weather_day.csv");
        assert_eq!(days.len(), 25, "{name}");
        assert_eq!(
            (&days[0]["tmin_c"], &days[0]["tmax_c"]),
            (&json!(10.0), &json!(24.0))
        );
        assert_eq!(rows("weather_station.csv").len(), 66);
        // Base 44 °F, 6.67 °C: 17 - 6.67 a day.
        let heat = rows("heat_day.csv");
        let of_day = heat[0]["degree_days_c"].as_f64().expect("heat");
        assert!((of_day - 10.3).abs() < 0.1, "{of_day}");
        let sum = heat[12]["accumulated_degree_days_c"]
            .as_f64()
            .expect("a sum");
        assert!((sum - 13.0 * of_day).abs() < 1e-9, "{sum}");
        // No sum after a gap until the next year.
        assert!(
            heat[13]["accumulated_degree_days_c"].is_null(),
            "{}",
            heat[13]
        );
        let described = std::fs::read_to_string(out.join("DICTIONARY.md")).expect("a dictionary");
        assert!(described.contains("## heat_day") && described.contains("source_sha256"));
    }
}
