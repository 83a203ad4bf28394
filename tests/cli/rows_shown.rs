//! `check --rows`: visits as they would be stored, and what becomes of each column; a draft needs no workspace.

use crate::support::{TestWorkspace, bractline, counts};

const SHEET: &str = "sample_data/mappings/wide.csv";
const MAPPING: &str = "sample_data/mappings/wide.toml";

#[test]
fn a_check_shows_visits_and_what_becomes_of_columns() {
    let workspace = TestWorkspace::of_invented_region();
    let run = workspace
        .run(&["check", SHEET, "--mapping", MAPPING, "--rows"])
        .expect_code(0);
    for line in [
        "  A       Field                                    /field/field_id",
        "  B       Date                                     /observed_on, dates as %m/%d/%Y",
        "  F       Area (ac)                                /field/area_ha, in acre, times 0.40468564224",
        "  J       Price ($/cwt)                            /economics/market_value/amount, in $/cwt, times 0.01, per lb",
        "  M-AK    S1H1B1 to S2H2B6 (24 columns)            /sites/{site}/heads/{head}/{bract}",
        "  AM      Initials                                 ignored",
        "          [constant]                               /protocol = \"bsm-eggs\"",
        "          [visitId]                                /visit_id, made of \"invented\", /field/field_id, /observed_on, /observer_id",
    ] {
        assert!(
            run.stdout.lines().any(|shown| same(shown, line)),
            "{line} is not in\n{}",
            run.stdout
        );
    }
    let visit = "4 accepted F-9001 2026-07-20 obs-9001 oilseed R3 40.469 8 USD/acre 0.16 USD/lb 20000/acre 2 4 2.75";
    assert!(
        run.stdout.lines().any(|shown| same(shown, visit)),
        "{visit} is not in\n{}",
        run.stdout
    );
    let stored = workspace
        .run(&["sql", "select * from visits", "--format", "csv"])
        .expect_code(0);
    assert_eq!(
        stored.stdout.lines().count(),
        1,
        "nothing is stored: {stored:?}"
    );
}

/// Whether two lines have the same words, however they are aligned.
fn same(one: &str, other: &str) -> bool {
    one.split_whitespace().eq(other.split_whitespace())
}

#[test]
fn rows_as_csv_have_what_is_stored_and_why_a_record_is_held() {
    let workspace = TestWorkspace::of_invented_region();
    let sheet = std::fs::read_to_string(SHEET)
        .expect("a sample")
        .replace("F-9002,7/21/2026", "F-9002,week 30");
    let file = workspace.write("wide.csv", sheet).display().to_string();
    let rows = [
        "check",
        &file,
        "--mapping",
        MAPPING,
        "--rows",
        "all",
        "--format",
        "csv",
    ];
    let run = workspace.run(&rows).expect_code(3);
    let mut reader = csv::Reader::from_reader(run.stdout.as_bytes());
    let header = reader.headers().expect("a header").clone();
    let rows: Vec<csv::StringRecord> = reader.records().collect::<Result<_, _>>().expect("CSV");
    let cell = |row: usize, name: &str| {
        let place = header
            .iter()
            .position(|other| other == name)
            .expect("a column");
        rows[row][place].to_owned()
    };
    assert_eq!(rows.len(), 3);
    for (name, wanted) in [
        ("file_name", "wide.csv"),
        ("line", "4"),
        ("becomes", "accepted"),
        ("visit_id", "invented:F-9001:2026-07-20:obs-9001"),
        ("area_ha", "40.468564224"),
        ("market_value_amount", "0.16"),
        ("market_value_per", "lb"),
        ("units", "4"),
        ("finding", ""),
    ] {
        assert_eq!(cell(0, name), wanted, "{name}");
    }
    assert_eq!(cell(1, "becomes"), "held");
    assert!(
        cell(1, "finding").starts_with("date-unreadable at /observed_on"),
        "{:?}",
        rows[1]
    );
    let shown = ["check", &file, "--mapping", MAPPING, "--rows", "2"];
    let text = workspace.run(&shown).expect_code(3).stdout;
    assert!(
        text.contains("… and 1 record more; --rows all shows all"),
        "{text}"
    );
    assert!(
        text.contains("    date-unreadable at /observed_on"),
        "{text}"
    );
    let json = workspace
        .run(&[&shown[..], &["--format", "json"]].concat())
        .expect_code(3)
        .json();
    assert_eq!(json["submissions"][0]["visits"][0]["sites"], 2);
    assert_eq!(
        json["submissions"][0]["columns"][0]["becomes"],
        "/field/field_id"
    );
    assert_eq!(counts(&json).received, 3);
    let load = workspace
        .run(&["load", &file, "--mapping", MAPPING, "--format", "json"])
        .expect_code(3)
        .json();
    assert_eq!(counts(&load), counts(&json), "check says what load does");
}

#[test]
fn what_cannot_be_shown_is_refused() {
    let workspace = TestWorkspace::of_invented_region();
    for wrong in [
        &["check", SHEET, "--mapping", MAPPING, "--format", "csv"][..],
        &["check", SHEET, "--mapping", MAPPING, "--rows", "0"],
        &["check", "--rows", SHEET, "--mapping", MAPPING],
        &["check", SHEET, "--suggest", "--rows"],
    ] {
        workspace.run(wrong).expect_code(2);
    }
    // A draft is made where no workspace is, so that no empty file is left behind.
    let draft = bractline(&["--workspace", "/nowhere", "check", "--suggest", SHEET]).expect_code(0);
    assert!(draft.stdout.contains("mapping = \"1\""), "{draft:?}");
    let none = bractline(&[
        "--workspace",
        "/nowhere",
        "check",
        "--suggest",
        "sample_data/alert.png",
    ]);
    assert_eq!((none.code, none.stdout.as_str()), (Some(1), ""), "{none:?}");
}
