//! How sure the figure of a field is: the columns of field_week.parquet against scipy, from the counts themselves.

use serde_json::{Value, json};

use crate::judge::python;
use crate::support::{TestWorkspace, full_visit, lines};

const REFERENCE: &str = "tests/reference/field_figures.py";

const COLUMNS: [&str; 3] = ["mean_low", "mean_high", "probability_at_threshold"];

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

#[test]
fn the_interval_and_the_probability_are_those_of_scipy() {
    let visits = [
        visit_of("near", &[2, 5, 3, 4]),
        visit_of("above", &[9, 10, 11, 12]),
        visit_of("below", &[1, 0, 1, 1, 1, 0, 1, 1]),
        visit_of("skewed", &[0, 0, 0, 14]),
        visit_of("two", &[3, 4]),
        visit_of("one", &[6]),
        visit_of("nothing", &[0, 0, 0, 0]),
    ];
    let workspace = TestWorkspace::of_region("us:46");
    let account = workspace.load_text("visits.ndjson", &lines(&visits));
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
        for column in COLUMNS {
            match by_scipy[column].as_f64() {
                None => assert_eq!(row[column], Value::Null, "{column} of {row:#}"),
                Some(wanted) => {
                    let found = row[column].as_f64().unwrap_or(f64::NAN);
                    let near = (found - wanted).abs() <= 1e-9 * wanted.abs().max(1.0);
                    assert!(near, "{column}: {found}, by scipy {wanted}: {row:#}");
                }
            }
        }
        assert_eq!(row["near_threshold"], by_scipy["near_threshold"], "{row:#}");
    }
    let row = |name: &str| {
        let mut found = rows.iter();
        found
            .find(|row| row["field_id"] == format!("F-{name}"))
            .expect("a row")
    };
    for (name, near) in [
        ("near", json!(true)),
        ("above", json!(false)),
        ("below", json!(false)),
        ("one", Value::Null),
        ("nothing", json!(false)),
    ] {
        assert_eq!(row(name)["near_threshold"], near, "{name}");
    }
    for column in COLUMNS {
        assert_eq!(row("one")[column], Value::Null, "one site has no error");
        assert_eq!(row("nothing")[column], 0.0, "where nothing was found");
    }
}
