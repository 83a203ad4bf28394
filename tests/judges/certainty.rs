//! How sure the figure of a field is: the columns of field_week.parquet against scipy's F, Student's t and Beta
//! distributions, from the counts themselves.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use crate::judge::python;
use crate::support::{TestWorkspace, full_visit, lines};

const REFERENCE: &str = "tests/reference/field_figures.py";

const NUMBERS: [&str; 7] = [
    "mean_low",
    "mean_high",
    "confidence_at_threshold",
    "probability_at_threshold",
    "further_sites",
    "season_k",
    "season_k_information",
];

const WORDS: [&str; 2] = ["mean_range", "undetermined"];

/// A visit with the eggs of each site on every head of it; the threshold of all is 3.205.
fn visit_of(name: &str, eggs: &[u32]) -> Value {
    let mut visit = full_visit(&format!("visit-{name}"));
    visit["field"]["field_id"] = format!("F-{name}").into();
    let sites = (1..)
        .zip(eggs)
        .map(|(site, eggs)| json!({"site": site, "heads": vec![[*eggs, 0, 0, 0, 0, 0]; 5]}));
    visit["sites"] = sites.collect();
    visit
}

/// Loads the visits, rolls them up, and compares every row with scipy; the rows by field.
fn compared(visits: &[Value]) -> BTreeMap<String, Value> {
    let workspace = TestWorkspace::of_region("us:46");
    let account = workspace.load_text("visits.ndjson", &lines(visits));
    assert_eq!(account["accepted"], visits.len(), "{account:#}");
    let out = workspace.beside("figures").display().to_string();
    workspace.run(&["rollup", "--out", &out]).expect_code(0);
    let rows = python(
        REFERENCE,
        &["rows", &format!("{out}/private/field_week.parquet")],
    );
    let rows: Vec<Value> = serde_json::from_str(&rows).expect("JSON");
    let visits_file = workspace.beside("visits.ndjson").display().to_string();
    let expected = python(REFERENCE, &["certainty", &visits_file]);
    let expected: Value = serde_json::from_str(&expected).expect("JSON");
    assert_eq!(rows.len(), visits.len());
    for row in &rows {
        let by_scipy = &expected[row["visit_id"].as_str().expect("text")];
        for column in NUMBERS {
            match by_scipy[column].as_f64() {
                None => assert_eq!(row[column], Value::Null, "{column} of {row:#}"),
                Some(wanted) => {
                    let found = row[column].as_f64().unwrap_or(f64::NAN);
                    let near = (found - wanted).abs() <= 1e-6 * wanted.abs().max(1e-9);
                    assert!(near, "{column}: {found}, by scipy {wanted}: {row:#}");
                }
            }
        }
        for column in WORDS {
            assert_eq!(row[column], by_scipy[column], "{column} of {row:#}");
        }
    }
    let field = |row: &Value| row["field_id"].as_str().expect("text").to_owned();
    rows.into_iter().map(|row| (field(&row), row)).collect()
}

/// Fields of all kinds, and so many more with a few eggs at each of five sites.
fn season(more: u32) -> Vec<Value> {
    let mut visits = vec![
        visit_of("near", &[2, 5, 3, 4]),
        visit_of("above", &[19, 10, 21, 12]),
        visit_of("below", &[1, 0, 1, 1, 1, 0, 1, 1]),
        visit_of("skewed", &[0, 0, 0, 14]),
        visit_of("two", &[3, 9]),
        visit_of("one", &[6]),
        visit_of("nothing", &[0, 0, 0, 0]),
        visit_of("nothing-at-one", &[0]),
    ];
    visits.extend((0..more).map(|number| {
        let eggs = [0, 1, 2, 3, 4].map(|site| (number * 7 + site * 5) % 9);
        visit_of(&format!("more-{number}"), &eggs)
    }));
    visits
}

#[test]
fn the_ranges_and_calls_of_a_small_season_are_those_of_scipy() {
    let rows = compared(&season(20));
    let row = |name: &str| &rows[&format!("F-{name}")];
    for (name, range, undetermined) in [
        ("near", "between", true),
        ("above", "between", false),
        ("below", "between", false),
        ("nothing", "fewer-than", false),
        ("nothing-at-one", "fewer-than", false),
    ] {
        assert_eq!(row(name)["mean_range"], range, "{name}");
        assert_eq!(row(name)["undetermined"], undetermined, "{name}");
    }
    // Fewer than fifty fields: a confidence, and no probability.
    for row in rows.values() {
        assert_eq!(row["probability_at_threshold"], Value::Null);
        assert!(row["confidence_at_threshold"].is_number());
    }
}

#[test]
fn from_fifty_fields_on_a_season_gives_probabilities() {
    let rows = compared(&season(52));
    let of = |name: &str, column: &str| rows[&format!("F-{name}")][column].as_f64();
    let probability = of("one", "probability_at_threshold").expect("a number");
    let confidence = of("one", "confidence_at_threshold").expect("a number");
    assert!(probability != confidence, "{probability}");
    let further: Vec<&Value> = rows
        .values()
        .filter(|row| row["undetermined"] == true)
        .map(|row| &row["further_sites"])
        .collect();
    assert!(further.iter().any(|sites| sites.is_number()), "{further:?}");
}

#[test]
fn too_few_fields_have_no_range_and_no_call() {
    let rows = compared(&season(0)[..3]);
    for row in rows.values() {
        assert_eq!(row["mean_range"], "not-given");
        for column in [
            "mean_low",
            "mean_high",
            "confidence_at_threshold",
            "undetermined",
        ] {
            assert_eq!(row[column], Value::Null, "{column}");
        }
    }
}
