//! Roll-ups under other economics, each field against an independent computation.

use std::collections::BTreeMap;
use std::path::Path;

use bractline::region::Region;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use serde_json::{Value, json};

use crate::judge::python;
use crate::support::generated::text_of;
use crate::support::issuing::{COUNTIES, loaded, visits};
use crate::support::scenario::HECTARES_PER_ACRE;
use crate::support::thresholds::assert_near;
use crate::support::{Row, TestWorkspace, assert_private, csv_rows, folder_bytes, lines};

fn number(row: &Value, name: &str) -> f64 {
    row[name]
        .as_f64()
        .unwrap_or_else(|| panic!("{name} of {row:#}"))
}

const WEEK: &str = "2026-W30";

/// What a scenario came to: the report, the county-weeks as texts and the field-weeks as values.
struct Told {
    said: Value,
    counties: Vec<Row>,
    fields: Vec<Value>,
}

fn scenario(workspace: &TestWorkspace, name: &str, with: &str) -> Told {
    let out = text_of(&workspace.beside(name));
    let run = [
        "rollup", "--with", with, "--week", WEEK, "--out", &out, "--format", "json",
    ];
    let said = workspace.run(&run).expect_code(0).json();
    let fields = format!("{out}/scenario_field_week.parquet");
    let fields = python("tests/reference/field_figures.py", &["rows", &fields]);
    Told {
        said,
        counties: rows_of(&workspace.beside(name).join("scenario_county_week.csv")),
        fields: serde_json::from_str(&fields).expect("JSON"),
    }
}

fn rows_of(path: &Path) -> Vec<Row> {
    csv_rows(&std::fs::read(path).expect("a table"))
}

fn cell(row: &BTreeMap<String, String>, name: &str) -> f64 {
    row[name]
        .parse()
        .unwrap_or_else(|_| panic!("{name} of {row:#?}"))
}

// --- By hand -------------------------------------------------------------------------------------

/// J. Econ. Entomol. 101(3):969-975 (2008): EIL = C / (V W P K), W K = 0.00078 lb (the constants: common practice,
/// no source). At 20,000 plants an acre an egg counted costs 15.6 lb, at 0.16 USD a lb 2.496 USD an acre. The fields
/// of the week have means of 2, 3, 4 and 5 eggs; treating costs 8 USD an acre.
#[test]
fn loss_and_benefit_of_a_field_are_those_of_the_published_relation() {
    let (workspace, _) = loaded();
    let told = scenario(&workspace, "half", "price=*0.5");
    assert_eq!(told.said["scenario"], "price=*0.5");
    assert_eq!(told.said["without_damage_relation"], json!([]));
    assert_eq!(told.fields.len(), 14);
    for field in &told.fields {
        let eggs = number(field, "field_mean");
        let near = |name: &str, expected: f64| {
            assert_near(
                number(field, name),
                expected,
                expected.abs() * 1e-9 + 1e-9,
                name,
            );
        };
        near("threshold_as_recorded", 8.0 / 2.496);
        near("threshold", 8.0 / 1.248);
        near("pressure", eggs * 1.248 / 8.0);
        near("treatment_cost_per_ha", 8.0 / HECTARES_PER_ACRE);
        near(
            "saved_kg_per_ha",
            eggs * 15.6 * 0.453_592_37 / HECTARES_PER_ACRE,
        );
        near("loss_avoided_per_ha", eggs * 1.248 / HECTARES_PER_ACRE);
        near(
            "net_benefit_per_ha",
            (eggs * 1.248 - 8.0) / HECTARES_PER_ACRE,
        );
        assert_eq!(field["currency"], "USD");
        assert_eq!(field["scenario"], "price=*0.5");
    }
    let of_four = told
        .counties
        .iter()
        .filter(|row| row["fields_visited"] == "4");
    assert_eq!(of_four.clone().count(), 3);
    for county in of_four {
        // Means of 2, 3, 4 and 5 eggs: 3.5. As recorded 4 and 5 are at threshold (3.205), at half the price none (6.41).
        assert_eq!(county["fields_at_threshold_as_recorded"], "2");
        assert_eq!(county["fields_at_threshold"], "0");
        let near = |name: &str, expected: f64| {
            assert_near(
                cell(county, name),
                expected,
                expected.abs() * 1e-9 + 1e-9,
                name,
            );
        };
        near("mean_pressure_as_recorded", 3.5 * 2.496 / 8.0);
        near("mean_pressure", 3.5 * 1.248 / 8.0);
        near("mean_treatment_cost_per_ha", 8.0 / HECTARES_PER_ACRE);
        near("mean_loss_avoided_per_ha", 3.5 * 1.248 / HECTARES_PER_ACRE);
        near(
            "mean_net_benefit_per_ha",
            (3.5 * 1.248 - 8.0) / HECTARES_PER_ACRE,
        );
        near("gain_at_threshold_per_ha", 0.0);
    }

    // 12 USD an acre and 0.32 USD a lb: 4.992 USD an acre an egg; 3, 4 and 5 eggs are above 2.404.
    let told = scenario(&workspace, "both", "cost=12USD/acre,price=0.32USD/lb");
    for county in told
        .counties
        .iter()
        .filter(|row| row["fields_visited"] == "4")
    {
        assert_eq!(county["fields_at_threshold"], "3");
        let gain = (12.0 * 4.992 - 3.0 * 12.0) / 4.0 / HECTARES_PER_ACRE;
        assert_near(cell(county, "gain_at_threshold_per_ha"), gain, 1e-9, "gain");
    }
}

#[test]
fn identities_of_thresholds_and_money_hold() {
    let (workspace, _) = loaded();
    let as_recorded = scenario(&workspace, "same", "price=*1");
    for (name, with, times, money) in [
        ("price", "price=*0.5", 2.0, None),
        ("cost", "cost=*3", 3.0, None),
        ("population", "population=*2", 0.5, None),
        // In another money all is the same but the money.
        ("money", "cost=*2.5,price=*2.5", 1.0, Some(2.5)),
    ] {
        let told = scenario(&workspace, name, with);
        for (field, before) in told.fields.iter().zip(&as_recorded.fields) {
            assert_eq!(field["visit_id"], before["visit_id"]);
            assert_eq!(field["threshold_as_recorded"], before["threshold"]);
            let expected = number(before, "threshold") * times;
            assert_near(number(field, "threshold"), expected, 1e-9, with);
            // The relation is the one of the threshold: net benefit = cost x (pressure - 1).
            let cost = number(field, "treatment_cost_per_ha");
            let benefit = cost * (number(field, "pressure") - 1.0);
            assert_near(number(field, "net_benefit_per_ha"), benefit, 1e-9, with);
            if let Some(money) = money {
                let before = number(before, "net_benefit_per_ha");
                assert_near(
                    number(field, "net_benefit_per_ha"),
                    money * before,
                    1e-9,
                    with,
                );
            }
        }
    }
    // 4 eggs x 2.496: the field with 4 eggs is exactly at threshold, and gains and loses nothing.
    let told = scenario(&workspace, "even", "cost=9.984USD/acre");
    let even = told
        .fields
        .iter()
        .filter(|field| number(field, "field_mean") == 4.0);
    assert!(even.clone().count() >= 3);
    for field in even {
        assert_near(number(field, "pressure"), 1.0, 1e-12, "pressure");
        assert_near(
            number(field, "net_benefit_per_ha"),
            0.0,
            1e-9,
            "net benefit",
        );
    }
    for county in told
        .counties
        .iter()
        .filter(|row| row["fields_visited"] == "4")
    {
        assert_eq!(county["fields_at_threshold"], "2");
    }
}

/// Where a protocol's file states no relation, nothing is put in its place, and it is said.
#[test]
fn a_protocol_without_a_relation_has_no_money_and_a_fixed_threshold_stays() {
    let region = Region::built_in("us:46").expect("South Dakota");
    let mut all = visits(&region, COUNTIES[0], 4, "2026-07-21", 1);
    for visit in &mut all {
        visit["protocol"] = "sunflower-moth-adults".into();
        visit["crop_stage"] = "R5.1".into();
        visit["sites"] = (1..=5)
            .map(|site| json!({"site": site, "plants": [1, 0, 0, 2, 0]}))
            .collect();
    }
    let workspace = TestWorkspace::of_region("us:46");
    let account = workspace.load_text("moths.ndjson", &lines(&all));
    assert_eq!(account["accepted"], 4, "{account:#}");
    let told = scenario(&workspace, "what-if", "price=*0.5");
    assert_eq!(
        told.said["thresholds_unmoved"],
        json!(["sunflower-moth-adults"])
    );
    assert_eq!(
        told.said["without_damage_relation"],
        json!(["sunflower-moth-adults"])
    );
    for field in &told.fields {
        assert_eq!(field["threshold"], field["threshold_as_recorded"]);
        assert_eq!(field["saved_kg_per_ha"], Value::Null);
        assert_eq!(field["net_benefit_per_ha"], Value::Null);
    }
    let county = &told.counties[0];
    assert_eq!(
        (&*county["fields_visited"], &*county["currency"]),
        ("4", "")
    );
    assert_eq!(county["mean_net_benefit_per_ha"], "");
    let page = std::fs::read_to_string(workspace.beside("what-if").join("SCENARIO.md"));
    let page = page.expect("the page");
    assert!(
        page.contains("`sunflower-moth-adults`: its file states no relation"),
        "{page}"
    );
    assert!(page.contains("rest on none of this"), "{page}");
}

// --- What it is, on its face ---------------------------------------------------------------------

#[test]
fn every_output_says_that_it_is_a_scenario_and_of_what() {
    let (workspace, _) = loaded();
    let with = "population=22000/acre, price=*0.80";
    let told = scenario(&workspace, "what-if", with);
    let said = "price=*0.8,population=22000/acre";
    assert_eq!(told.said["scenario"], said);
    assert_eq!(told.said["public"], json!([]));
    assert!(
        told.said["notice"]
            .as_str()
            .is_some_and(|notice| notice.contains("no finding"))
    );
    let out = workspace.beside("what-if");
    let files = folder_bytes(&out);
    assert_eq!(
        files.keys().map(String::as_str).collect::<Vec<_>>(),
        [
            "SCENARIO.md",
            "scenario_county_week.csv",
            "scenario_county_week.parquet",
            "scenario_field_week.parquet"
        ]
    );
    assert!(told.counties.iter().all(|row| row["scenario"] == said));
    assert!(told.fields.iter().all(|row| row["scenario"] == said));
    for name in files.keys().filter(|name| name.ends_with(".parquet")) {
        let file = std::fs::File::open(out.join(name)).expect("a file");
        let reader = ParquetRecordBatchReaderBuilder::try_new(file).expect("Parquet");
        let notes = reader.metadata().file_metadata().key_value_metadata();
        let note = notes
            .into_iter()
            .flatten()
            .find(|note| note.key == "scenario");
        let note = note.and_then(|note| note.value.clone()).expect("a note");
        assert!(
            note.contains(said) && note.contains("never published"),
            "{note}"
        );
    }
    let page = String::from_utf8(files["SCENARIO.md"].clone()).expect("UTF-8");
    for part in [
        "This is a scenario, no finding",
        "market value: 0.8 times each record's own value",
        "plants standing: 22000/acre in every field",
        "101(3):969-975",
        "net\\_benefit\\_per\\_ha",
        "The label is the law",
    ] {
        let plain = part.replace("\\_", "_");
        assert!(
            page.contains(part) || page.contains(&plain),
            "{part}: {page}"
        );
    }
    let text = workspace.run(&["rollup", "--with", with, "--out", &text_of(&out)]);
    let text = text.expect_code(0).stdout;
    assert!(text.starts_with(&format!("scenario {said}: ")), "{text}");
    assert_eq!(text.matches("not to be published: ").count(), 4, "{text}");
}

/// A scenario is for the office alone, so a county with two fields has its figures too.
#[test]
fn small_counties_are_there_for_the_owner_alone_and_the_store_stays_as_it_was() {
    let (workspace, _) = loaded();
    let store = folder_bytes(&workspace.path());
    let told = scenario(&workspace, "what-if", "cost=*0.5");
    assert!(
        folder_bytes(&workspace.path()) == store,
        "a scenario wrote to the workspace"
    );
    let small = told.counties.iter().find(|row| row["county_id"] == "46099");
    let small = small.expect("the county with two fields");
    assert_eq!(small["fields_visited"], "2");
    assert_eq!(small["currency"], "USD");
    // Means of 4 and 5 eggs at 2.496 USD each, and a treatment of 4 USD an acre.
    let benefit = (4.5 * 2.496 - 4.0) / HECTARES_PER_ACRE;
    assert_near(
        cell(small, "mean_net_benefit_per_ha"),
        benefit,
        1e-9,
        "two fields",
    );
    #[cfg(unix)]
    assert_private(&workspace.beside("what-if"));
    // The roll-up is what it was.
    let before = workspace.rolled_up();
    scenario(&workspace, "again", "cost=*0.5");
    assert!(workspace.rolled_up() == before);
}

// --- What is refused -----------------------------------------------------------------------------

#[test]
fn no_alert_and_no_public_place_takes_a_scenario() {
    let (workspace, _) = loaded();
    for command in [
        &["alert", "--week", WEEK, "--with", "price=*0.5"][..],
        &["alert", "--week", WEEK, "--issue", "--with", "price=*0.5"],
        &["publish", "--to", "public", "--with", "price=*0.5"],
    ] {
        let run = workspace.run(command).expect_code(1);
        assert!(run.stderr.contains("never a scenario"), "{run:?}");
    }
    workspace
        .run(&["alert", "--week", WEEK, "--issue"])
        .expect_code(0);
    let issued = workspace.path().join("alerts/issued/0001");
    let out = text_of(&issued);
    let run = workspace.run(&["rollup", "--with", "price=*0.5", "--out", &out]);
    let run = run.expect_code(1);
    assert!(run.stderr.contains("no place among the alerts"), "{run:?}");

    // Put there by hand, under its own name or that of a public file.
    scenario(&workspace, "what-if", "price=*0.5");
    let place = text_of(&workspace.beside("public"));
    let figures = workspace.beside("what-if");
    for (file, name, reason) in [
        (
            "scenario_county_week.csv",
            "scenario_county_week.csv",
            "it was not issued",
        ),
        (
            "scenario_county_week.csv",
            "county_week.csv",
            "it is of a scenario",
        ),
        ("SCENARIO.md", "alert.md", "it is of a scenario"),
    ] {
        let target = issued.join(name);
        let kept = std::fs::read(&target).ok();
        std::fs::copy(figures.join(file), &target).expect("copied");
        let run = workspace.run(&["publish", "--to", &place]).expect_code(1);
        assert!(run.stderr.contains(reason), "{name}: {run:?}");
        assert!(!workspace.beside("public").exists());
        match kept {
            Some(bytes) => std::fs::write(&target, bytes).expect("put back"),
            None => std::fs::remove_file(&target).expect("taken out"),
        }
    }
    workspace.run(&["publish", "--to", &place]).expect_code(0);
}

#[test]
fn a_scenario_that_cannot_be_meant_is_refused() {
    let (workspace, all) = loaded();
    let out = text_of(&workspace.beside("what-if"));
    let refused = |with: &str, code: i32| {
        let run = workspace.run(&["rollup", "--with", with, "--out", &out]);
        let run = run.expect_code(code);
        assert!(!workspace.beside("what-if").exists(), "{with}");
        run.stderr
    };
    // A price in cents, a factor that went wrong.
    for with in ["price=16USD/lb", "price=*0.001", "population=*100"] {
        let said = refused(with, 1);
        assert!(
            said.contains("not plausible") && said.contains("bsm-eggs"),
            "{said}"
        );
    }
    let said = refused("price=0.2CAD/lb", 1);
    assert!(
        said.contains("gives CAD") && said.contains(&format!("{}", all.len())),
        "{said}"
    );
    let said = refused("price=0.2", 2);
    assert!(said.contains("price=*0.8"), "{said}");
    // Both in another money: nothing is mixed.
    let told = scenario(&workspace, "in-cad", "cost=11CAD/acre,price=0.22CAD/lb");
    assert!(told.fields.iter().all(|field| field["currency"] == "CAD"));
}
