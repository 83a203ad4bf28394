//! How counts scatter by county, season and visit, and whether neighboring counties are alike: what the
//! program writes, against reference libraries that read what was handed in and what was published.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use arrow::array::{Array, AsArray};
use arrow::datatypes::Float64Type;
use bractline::region::Region;
use geo::InteriorPoint;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Gamma, Poisson};
use serde_json::{Value, json};

use crate::generated::text_of;
use crate::support::{TestWorkspace, lines, python, visit};

/// Counties of South Dakota that have visits; one of them too few for a public row.
const COUNTIES: usize = 36;
/// The place among them of the county with two fields.
const SMALL: usize = 7;
/// The place of the county with a second week, in which it alone was visited.
const SECOND_WEEK: usize = 3;
const DAY: &str = "2026-07-21";
const DAY_AFTER_A_WEEK: &str = "2026-07-28";

/// A row of a CSV file by its columns.
type Row = BTreeMap<String, String>;

/// Counts with k = 0.8 a head; the mean is drawn by field, and rises from county to county.
struct Scouting {
    chance: ChaCha8Rng,
    region: Region,
}

impl Scouting {
    fn begin() -> Scouting {
        Scouting {
            chance: ChaCha8Rng::seed_from_u64(4),
            region: Region::built_in("us:46").expect("South Dakota"),
        }
    }

    fn draw(&mut self, shape: f64, mean: f64) -> f64 {
        let gamma = Gamma::new(shape, mean / shape).expect("a shape and a scale above 0");
        gamma.sample(&mut self.chance)
    }

    fn visit(&mut self, county: usize, field: usize, day: &str) -> Value {
        let county_of_field = &self.region.counties()[county];
        let (lon, lat) = county_of_field
            .shape
            .interior_point()
            .expect("a county has an inside")
            .x_y();
        let id = county_of_field.id.clone();
        let mut made = visit(&format!("v-{id}-{field}-{day}"));
        made["observed_on"] = day.into();
        made["submitted_at"] = format!("{day}T18:00:00Z").into();
        made["field"]["field_id"] = format!("{id}Z{field}").into();
        made["field"]["farm_id"] = format!("{id}Y{field}").into();
        made["field"]["lon"] = lon.into();
        made["field"]["lat"] = (lat + 0.001 * field as f64).into();
        // Southern counties have more, so that neighbors are alike.
        let mean = self.draw(3.0, 2.0 * (44.5 - lat).exp());
        let sites = (1..=4).map(|site| {
            let heads = (0..5).map(|_| {
                let lambda = self.draw(0.8, mean).max(1e-9);
                let eggs = Poisson::new(lambda).expect("a mean above 0");
                let eggs = eggs.sample(&mut self.chance) as u64;
                json!([eggs / 2, 0, eggs - eggs / 2, 0, 0, 0])
            });
            json!({"site": site, "heads": heads.collect::<Vec<_>>()})
        });
        made["sites"] = sites.collect();
        made
    }

    fn season() -> Vec<Value> {
        let mut scouting = Scouting::begin();
        let mut all = Vec::new();
        for county in 0..COUNTIES {
            let fields = if county == SMALL { 2 } else { 5 + county % 2 };
            for field in 0..fields {
                let mut made = scouting.visit(county, field, DAY);
                if county == 1 && field == 0 {
                    // Nothing found: it tells nothing of k, and counts as a field.
                    for site in made["sites"].as_array_mut().expect("sites") {
                        site["heads"] = json!(vec![[0; 6]; 5]);
                    }
                }
                if county == 4 && field == 0 {
                    // One egg a site: the site means are equal, and their variance but a rounding.
                    let mut heads = vec![[0; 6]; 5];
                    heads[2][1] = 1;
                    made["sites"] = (1..=3)
                        .map(|site| json!({"site": site, "heads": heads}))
                        .collect();
                }
                all.push(made);
                if county == 2 && field == 0 {
                    // A correction, which takes the place of what was first handed in.
                    let mut corrected = scouting.visit(county, field, DAY);
                    corrected["revision"] = 2.into();
                    all.push(corrected);
                }
            }
        }
        for field in 0..5 {
            all.push(scouting.visit(SECOND_WEEK, field, DAY_AFTER_A_WEEK));
        }
        all
    }
}

/// A workspace with these visits, and the private folder of its roll-up with the scatter.
fn rolled_up(visits: &[Value]) -> (TestWorkspace, PathBuf) {
    let workspace = TestWorkspace::of_region("us:46");
    let account = workspace.load_text("visits.ndjson", &lines(visits));
    assert_eq!(account["accepted"], visits.len(), "{account:#}");
    let out = workspace.beside("figures");
    workspace
        .run(&["rollup", "--dispersion", "--out", &text_of(&out)])
        .expect_code(0);
    (workspace, out.join("private"))
}

fn rows(folder: &Path, name: &str) -> Vec<Row> {
    let mut reader = csv::Reader::from_path(folder.join(name)).expect("a table");
    let rows = reader.deserialize().collect::<Result<Vec<Row>, _>>();
    rows.expect("rows")
}

#[track_caller]
fn number(row: &Row, name: &str) -> f64 {
    row[name]
        .parse()
        .unwrap_or_else(|_| panic!("no {name}: {row:?}"))
}

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
        let error = number(row, "k_standard_error");
        assert_near(error, &county["standard_error"], 1e-6, "standard error");
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
fn the_scatter_rests_on_small_counties_too_and_is_private() {
    let (workspace, _) = rolled_up(&Scouting::season());
    let region = Region::built_in("us:46").expect("South Dakota");
    let small = &region.counties()[SMALL].id;
    let package = workspace.beside("package");
    let export = ["export", "--out", &text_of(&package)];
    workspace.run(&export).expect_code(0);
    let out = workspace.beside("again");
    let place = text_of(&out);
    let arguments = [
        "rollup",
        "--dispersion",
        "--out",
        &place,
        "--format",
        "json",
    ];
    let report = workspace.run(&arguments).expect_code(0).json();
    let names = |kind: &str| -> Vec<String> {
        let files = report[kind].as_array().expect("files").iter();
        let files = files.map(|file| Path::new(file.as_str().expect("a path")));
        files
            .map(|file| text_of(Path::new(file.file_name().expect("a name"))))
            .collect()
    };
    let scatter = [
        "county_season_dispersion.csv",
        "county_season_dispersion.parquet",
        "season_power_law.csv",
        "season_power_law.parquet",
        "visit_dispersion.parquet",
    ];
    for name in scatter {
        assert!(names("private").iter().any(|file| file == name), "{name}");
        assert!(!names("public").iter().any(|file| file == name), "{name}");
        assert!(out.join("private").join(name).exists(), "{name}");
    }
    // The county with two fields is in the scatter, and in no public table.
    let counties = rows(&out.join("private"), "county_season_dispersion.csv");
    let row = counties.iter().find(|row| row["county_id"] == *small);
    assert_eq!(row.expect("a row")["fields"], "2");
    let public = rows(&package, "county_week.csv");
    // All others in the first week, and one in the second.
    assert_eq!(public.len(), COUNTIES - 1 + 1);
    assert!(public.iter().all(|row| row["county_id"] != *small));
    let columns = std::fs::read_to_string(out.join("private/COLUMNS.md")).expect("the page");
    for name in scatter {
        assert!(columns.contains(name), "{name}");
    }
}

#[test]
fn k_says_how_many_visits_it_rests_on_and_rates_have_none() {
    let mut scouting = Scouting::begin();
    let mut visits = Vec::new();
    for field in 0..4 {
        // Something was found in two fields of four.
        let mut eggs = scouting.visit(0, field, DAY);
        if field > 1 {
            eggs["sites"] = json!([{"site": 1, "heads": vec![[0; 6]; 5]}]);
        }
        visits.push(eggs);
        let mut traps = scouting.visit(0, 10 + field, DAY);
        traps["protocol"] = "sunflower-moth-traps".into();
        traps["crop_stage"] = "R5.1".into();
        traps["sites"] = json!([{"site": 1, "traps": [
            {"catch": 3 * field, "nights": 7}, {"catch": 40, "nights": 3}]}]);
        visits.push(traps);
    }
    let (_workspace, out) = rolled_up(&visits);
    let found = rows(&out, "county_season_dispersion.csv");
    let said: Vec<[&str; 5]> = found
        .iter()
        .map(|row| ["protocol", "fields", "visits", "units", "k_undefined"].map(|name| &*row[name]))
        .collect();
    assert_eq!(
        said,
        [
            ["bsm-eggs", "4", "2", "40", ""],
            ["sunflower-moth-traps", "4", "0", "0", "rates"],
        ]
    );
    assert!(number(&found[0], "k") > 0.0);
    assert_eq!(found[1]["k"], "");
    let laws = rows(&out, "season_power_law.csv");
    let of_traps = laws
        .iter()
        .find(|law| law["protocol"] == "sunflower-moth-traps" && law["samples"] == "units");
    let of_traps = of_traps.expect("a row that says so");
    assert_eq!(of_traps["b"], "");
    assert_eq!(
        (&*of_traps["visits"], &*of_traps["visits_left_out"]),
        ("0", "4")
    );
}

#[test]
fn a_roll_up_without_the_flag_writes_none_of_it_and_a_week_has_no_season() {
    let workspace = TestWorkspace::of_region("us:46");
    let names: Vec<String> = workspace.rolled_up().into_keys().collect();
    assert!(
        !names.iter().any(|name| name.contains("dispersion")),
        "{names:?}"
    );
    let out = text_of(&workspace.beside("week"));
    let run = workspace
        .run(&[
            "rollup",
            "--dispersion",
            "--week",
            "2026-W30",
            "--out",
            &out,
        ])
        .expect_code(2);
    assert!(run.stderr.contains("--week"), "{run:?}");
    // A store without a visit has tables without a row.
    workspace
        .run(&["rollup", "--dispersion", "--out", &out])
        .expect_code(0);
    for name in ["county_season_dispersion.csv", "season_power_law.csv"] {
        assert_eq!(
            rows(&Path::new(&out).join("private"), name).len(),
            0,
            "{name}"
        );
    }
}

#[test]
fn a_season_has_its_own_scatter() {
    let mut scouting = Scouting::begin();
    let visits: Vec<Value> = ["2025-07-22", DAY]
        .iter()
        .flat_map(|day| (0..4).map(|field| (field, *day)).collect::<Vec<_>>())
        .map(|(field, day)| scouting.visit(0, field, day))
        .collect();
    let (workspace, out) = rolled_up(&visits);
    let both = rows(&out, "county_season_dispersion.csv");
    assert_eq!(both.len(), 2);
    assert!(both[0]["k"] != both[1]["k"] && !both[0]["k"].is_empty());
    let one = text_of(&workspace.beside("one"));
    workspace
        .run(&["rollup", "--dispersion", "--season", "2026", "--out", &one])
        .expect_code(0);
    let one = &Path::new(&one).join("private");
    assert_eq!(rows(one, "county_season_dispersion.csv"), both[1..]);
    assert_eq!(
        rows(one, "season_power_law.csv"),
        rows(&out, "season_power_law.csv")[2..]
    );
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
