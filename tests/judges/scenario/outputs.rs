//! Outputs of a scenario: what they say they are, and where they may not go.

use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use serde_json::json;

use super::{WEEK, cell, scenario};
use crate::support::issuing::loaded;
use crate::support::scenario::HECTARES_PER_ACRE;
use crate::support::thresholds::assert_near;
use crate::support::{assert_private, folder_bytes, text_of};

#[test]
fn every_output_says_that_it_is_a_scenario_and_of_what() {
    let (workspace, _) = loaded();
    let with = "population=22000/acre, price=*0.80";
    let report = scenario(&workspace, "what-if", with);
    let said = "price=*0.8,population=22000/acre";
    assert_eq!(report.said["scenario"], said);
    assert_eq!(report.said["public"], json!([]));
    assert!(
        report.said["notice"]
            .as_str()
            .is_some_and(|notice| notice.contains("not an observed result"))
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
    assert!(report.counties.iter().all(|row| row["scenario"] == said));
    assert!(report.fields.iter().all(|row| row["scenario"] == said));
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
        "Hypothetical scenario, not an observed result",
        "market price: 0.8 times each record's own value",
        "plant population: 22000/acre in every field",
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
    let report = scenario(&workspace, "what-if", "cost=*0.5");
    assert!(
        folder_bytes(&workspace.path()) == store,
        "a scenario wrote to the workspace"
    );
    let small = report
        .counties
        .iter()
        .find(|row| row["county_id"] == "46099");
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

#[test]
fn no_alert_and_no_public_place_takes_a_scenario() {
    let (workspace, _) = loaded();
    for command in [
        &["alert", "--week", WEEK, "--with", "price=*0.5"][..],
        &["alert", "--week", WEEK, "--issue", "--with", "price=*0.5"],
        &["publish", "--to", "public", "--with", "price=*0.5"],
    ] {
        let run = workspace.run(command).expect_code(2);
        assert!(
            run.stderr.contains("unexpected argument '--with'"),
            "{run:?}"
        );
    }
    workspace
        .run(&["alert", "--week", WEEK, "--issue"])
        .expect_code(0);
    let issued = workspace.path().join("alerts/issued/0001");
    let out = text_of(&issued);
    let run = workspace.run(&["rollup", "--with", "price=*0.5", "--out", &out]);
    let run = run.expect_code(1);
    assert!(
        run.stderr.contains("cannot be written among the alerts"),
        "{run:?}"
    );

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
            "it is from a scenario",
        ),
        ("SCENARIO.md", "alert.md", "it is from a scenario"),
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
    let report = scenario(&workspace, "in-cad", "cost=11CAD/acre,price=0.22CAD/lb");
    assert!(report.fields.iter().all(|field| field["currency"] == "CAD"));
}
