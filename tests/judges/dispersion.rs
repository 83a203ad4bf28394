//! k, Taylor's law and Moran's I against reference libraries.

use std::path::Path;

use arrow::array::{Array, AsArray};
use arrow::datatypes::Float64Type;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use scouting::region::Region;
use serde_json::{Value, json};

use crate::judge::python;
use crate::support::dispersion::{COUNTIES, Scouting, number, rolled_up, rows};
use crate::support::text_of;

#[track_caller]
fn assert_near(found: f64, expected: &Value, tolerance: f64, what: &str) {
    let expected = expected.as_f64().expect("a number of the reference");
    assert!(
        (found - expected).abs() <= tolerance * expected.abs().max(1.0),
        "{what}: {found}, expected {expected}"
    );
}

#[test]
fn k_and_taylors_law_are_those_of_scipy_and_statsmodels() {
    let (workspace, out) = rolled_up(&Scouting::season());
    let submission = text_of(&workspace.beside("visits.ndjson"));
    let written = python("tests/reference/dispersion.py", &["scatter", &submission]);
    let expected: Value = serde_json::from_str(&written).expect("JSON from a program of ours");

    let found = rows(&out, "county_season_dispersion.csv");
    assert_eq!(found.len(), COUNTIES);
    let mut judged = 0;
    for row in &found {
        let county = &expected["counties"][&row["county_id"]];
        for name in ["fields", "visits", "units"] {
            assert_near(number(row, name), &county[name], 0.0, name);
        }
        if row["k"].is_empty() {
            panic!("every county of this season is clumped: {row:?}");
        }
        for name in ["k_by_root", "k_by_regression"] {
            assert_near(number(row, "k"), &county[name], 1e-6, name);
        }
        assert_eq!(row["k_undefined"], "");
        judged += 1;
    }
    assert_eq!(judged, COUNTIES);

    let laws = rows(&out, "season_power_law.csv");
    assert_eq!(laws.len(), 2);
    for law in &laws {
        let reference = &expected["laws"][&law["samples"]];
        for name in [
            "a",
            "a_of_mean_variance",
            "b",
            "b_standard_error",
            "r_squared",
        ] {
            assert_near(number(law, name), &reference[name], 1e-9, name);
        }
        assert_near(number(law, "visits"), &reference["visits"], 0.0, "visits");
        // The visit on which nothing was found, and that with one egg a site.
        let least = if law["samples"] == "units" { 1.0 } else { 2.0 };
        assert!(number(law, "visits_left_out") >= least, "{law:?}");
    }
    assert_own_figures_of_visits(&out, &expected["visits"]);
}

fn assert_own_figures_of_visits(out: &Path, expected: &Value) {
    let file = std::fs::File::open(out.join("visit_dispersion.parquet")).expect("the table");
    let reader = ParquetRecordBatchReaderBuilder::try_new(file).and_then(|made| made.build());
    let (mut with_k, mut without) = (0, 0);
    for batch in reader.expect("a Parquet file") {
        let batch = batch.expect("rows");
        let text = |name: &str| batch[name].as_string::<i32>();
        let (ids, words) = (text("visit_id"), text("k_undefined"));
        let of = |name: &str| batch[name].as_primitive::<Float64Type>();
        for row in 0..batch.num_rows() {
            let id = ids.value(row);
            let own = &expected[id];
            assert_near(of("mean").value(row), &own["mean"], 1e-12, id);
            assert_near(of("variance").value(row), &own["variance"], 1e-12, id);
            if own["k"].is_null() {
                assert!(of("k").is_null(row), "{id} has a k");
                assert!(!words.value(row).is_empty(), "{id} does not say why");
                without += 1;
            } else {
                assert_near(of("k").value(row), &own["k"], 1e-6, id);
                assert!(words.is_null(row), "{id}");
                with_k += 1;
            }
        }
    }
    let visits = expected.as_object().expect("visits").len();
    assert_eq!(with_k + without, visits);
    assert!(with_k > 100 && without >= 1, "{with_k} and {without}");
}

#[test]
fn morans_i_of_a_week_is_that_of_esda_on_the_published_table() {
    let (workspace, _) = rolled_up(&Scouting::season());
    let out = workspace.beside("package");
    let export = ["export", "--out", &text_of(&out)];
    workspace.run(&export).expect_code(0);
    let counties = Region::built_in("us:46").expect("South Dakota");
    let features = counties.counties().iter().map(|county| {
        let polygons: Vec<Vec<Vec<[f64; 2]>>> = county
            .shape
            .iter()
            .map(|polygon| {
                let rings = std::iter::once(polygon.exterior()).chain(polygon.interiors());
                rings
                    .map(|ring| ring.coords().map(|at| [at.x, at.y]).collect())
                    .collect()
            })
            .collect();
        json!({"type": "Feature", "properties": {"id": county.id},
            "geometry": {"type": "MultiPolygon", "coordinates": polygons}})
    });
    let features: Vec<Value> = features.collect();
    let collection = json!({"type": "FeatureCollection", "features": features});
    let outlines = text_of(&workspace.write("counties.geojson", collection.to_string()));
    let table = text_of(&out.join("county_week.csv"));
    let written = python(
        "tests/reference/dispersion.py",
        &["moran", &table, &outlines],
    );
    let expected: Vec<Value> = serde_json::from_str(&written).expect("weeks of the reference");

    let found = rows(&out, "region_week.csv");
    assert_eq!((found.len(), expected.len()), (2, 2));
    for (row, week) in found.iter().zip(&expected) {
        assert_eq!(row["iso_week"], week["iso_week"]);
        assert_eq!(row["protocol"], week["protocol"]);
        let shown = "counties_shown";
        assert_near(number(row, shown), &week[shown], 0.0, shown);
    }
    let (row, week) = (&found[0], &expected[0]);
    assert!(number(row, "moran_counties") > 20.0, "{row:?}");
    assert_near(
        number(row, "moran_counties"),
        &week["moran_counties"],
        0.0,
        "counties",
    );
    assert_near(number(row, "moran_i"), &week["moran_i"], 1e-9, "Moran's I");
    let share = week["moran_p"].as_f64().expect("a share");
    // Of 999 orders: four standard errors of the share, and one order.
    let error = 4.0 * (share * (1.0 - share) / 999.0).sqrt() + 1e-3;
    let p = number(row, "moran_p");
    assert!((p - share).abs() <= error, "{p}, expected {share}");
    // One county alone in the second week.
    assert_eq!(found[1]["counties_shown"], "1");
    for name in ["moran_counties", "moran_i", "moran_p"] {
        assert_eq!(found[1][name], "", "{name}");
    }
}
