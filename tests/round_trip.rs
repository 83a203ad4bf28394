//! Round trip: whatever visit, written in any of our forms, loads as the identical visit.
//!
//! Through real files and the program as a user runs it. Identity is judged from what is stored: the rows of
//! `visits` and `units` put together again, and the digest of the whole record.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::path::{Path, PathBuf};

use bractline::cli::table_cells::plain_table;
use bractline::publish::table_files::{TableCell, table_csv, table_xlsx};
use bractline::publish::visit_files::{visits_ndjson, visits_parquet};
use bractline::visit::record::{
    AreaUnit, Count, Economics, Field, MarketValue, Outline, PlantPopulation, Site, Trap,
    TreatmentCost, Visit, WeightUnit,
};
use datafusion::arrow::json::LineDelimitedWriter;
use jiff::Timestamp;
use jiff::civil::date;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use proptest::prelude::*;
use serde_json::{Map, Value, json};
use sha2::{Digest, Sha256};

use crate::mapping::{remarks, short_text};
use crate::support::{TestWorkspace, contents, counts};

/// Visits of one case.
const VISITS: usize = 200;

/// Protocols of the test's own, beside `bsm-eggs`: the form of counts, and whether a head has six.
const PROTOCOLS: [(&str, &str); 3] = [
    ("test-heads", "heads"),
    ("test-plants", "plants"),
    ("test-traps", "traps"),
];

const FORMS: [&str; 4] = ["csv", "xlsx", "parquet", "ndjson"];

// --- Visits that the workspace accepts -----------------------------------------------------------

/// A number between two, of few digits or of all.
fn number(low: f64, high: f64) -> BoxedStrategy<f64> {
    let rounded = (low..high).prop_map(move |number| ((number * 100.0).round() / 100.0).max(low));
    prop_oneof![low..high, rounded].boxed()
}

fn sites(form: &'static str, bracts: std::ops::RangeInclusive<usize>) -> BoxedStrategy<Vec<Site>> {
    let count = || prop_oneof![4 => 0u32..5, 1 => 0u32..=1_000_000].prop_map(Count);
    let counts: BoxedStrategy<Site> = match form {
        "heads" => prop::collection::vec(prop::collection::vec(count(), bracts), 1..4)
            .prop_map(|heads| empty_site(Some(heads), None, None))
            .boxed(),
        "plants" => prop::collection::vec(count(), 1..4)
            .prop_map(|plants| empty_site(None, Some(plants), None))
            .boxed(),
        _ => {
            let trap = (count(), 1u32..=366).prop_map(|(catch, nights)| Trap { catch, nights });
            prop::collection::vec(trap, 1..4)
                .prop_map(|traps| empty_site(None, None, Some(traps)))
                .boxed()
        }
    };
    let point = prop::option::of((-180.0..=180.0f64, -90.0..=90.0f64));
    let site = (prop::option::of(short_text()), point, counts);
    let numbers = prop::collection::hash_set(1u32..=1_000_000, 1..4);
    (numbers, prop::collection::vec(site, 4))
        .prop_map(|(numbers, sites)| {
            let numbered = numbers.into_iter().zip(sites);
            numbered
                .map(|(number, (side, point, site))| Site {
                    site: number,
                    side,
                    lon: point.map(|point| point.0),
                    lat: point.map(|point| point.1),
                    ..site
                })
                .collect()
        })
        .boxed()
}

fn empty_site(
    heads: Option<Vec<Vec<Count>>>,
    plants: Option<Vec<Count>>,
    traps: Option<Vec<Trap>>,
) -> Site {
    Site {
        site: 1,
        side: None,
        lon: None,
        lat: None,
        heads: heads.map(|heads| heads.into_iter().collect()),
        plants,
        traps,
    }
}

const CROP_TYPES: [&str; 4] = ["oilseed", "confection", "bird-food", "dehull"];

fn counted() -> BoxedStrategy<(String, Vec<Site>)> {
    let of = |protocol: &'static str, form, bracts| {
        sites(form, bracts)
            .prop_map(move |sites| (protocol.to_owned(), sites))
            .boxed()
    };
    prop_oneof![
        of("bsm-eggs", "heads", 6..=6),
        of("test-heads", "heads", 1..=9),
        of("test-plants", "plants", 1..=1),
        of("test-traps", "traps", 1..=1),
    ]
    .boxed()
}

fn field() -> BoxedStrategy<Field> {
    let optional = || prop::option::of(short_text());
    let corner = (-180.0..=180.0f64, -90.0..=90.0f64).prop_map(|(lon, lat)| [lon, lat]);
    let ring = prop::collection::vec(corner, 4..6);
    let outline = prop::collection::vec(ring, 1..3).prop_map(|coordinates| Outline {
        kind: "Polygon".to_owned(),
        coordinates,
    });
    let crop_type = prop::sample::select(CROP_TYPES.to_vec());
    (
        short_text(),
        // Well within South Dakota.
        (number(-102.9, -99.0), number(43.1, 45.8)),
        number(0.2, 3_900.0),
        crop_type,
        optional(),
        optional(),
        prop::option::of(outline),
    )
        .prop_map(
            |(field_id, (lon, lat), area_ha, crop_type, farm_id, county_id, outline)| Field {
                field_id,
                lon,
                lat,
                area_ha,
                crop_type: crop_type.to_owned(),
                farm_id,
                county_id,
                outline,
            },
        )
        .boxed()
}

/// Any of the three may be unknown to the scout; the workspace assumes them then, in its own currency.
fn economics() -> BoxedStrategy<Economics> {
    let area = || prop_oneof![Just(AreaUnit::Acre), Just(AreaUnit::Ha)];
    let weight = prop_oneof![Just(WeightUnit::Lb), Just(WeightUnit::Kg)];
    let currency = prop_oneof![Just("USD".to_owned()), "[A-Z]{3}"];
    // Plausible whichever unit it is in.
    (
        (number(1.5, 110.0), area()),
        (number(0.05, 3.5), weight),
        (number(5_000.0, 190_000.0), area()),
        currency,
        prop::option::weighted(0.3, prop::array::uniform3(any::<bool>())),
    )
        .prop_map(|(cost, value, plants, currency, known)| {
            let currency = known.map_or(currency, |_| "USD".to_owned());
            let [cost_known, value_known, plants_known] = known.unwrap_or([true; 3]);
            Economics {
                treatment_cost: cost_known.then(|| TreatmentCost {
                    amount: cost.0,
                    per: cost.1,
                    currency: currency.clone(),
                }),
                market_value: value_known.then_some(MarketValue {
                    amount: value.0,
                    per: value.1,
                    currency,
                }),
                plant_population: plants_known.then_some(PlantPopulation {
                    count: plants.0,
                    per: plants.1,
                }),
            }
        })
        .boxed()
}

prop_compose! {
    fn any_visit()(
        visit_id in short_text(),
        revision in prop_oneof![Just(1u32), 1..=1_000_000u32],
        day in (2000i16..=2030, 6i8..=9, 1i8..=28),
        time in "(T[01][0-9]:[0-5][0-9]:[0-5][0-9])([.][0-9]{1,9})?(Z|[+-][01][0-9]:[0-5][0-9])",
        observer_id in short_text(),
        field in field(),
        crop_stage in prop::sample::select(vec!["VE", "V4", "V12", "R1", "R2", "R3", "R5", "R5.1", "R5.9", "R9"]),
        economics in economics(),
        (protocol, sites) in counted(),
        remarks in prop::option::of(remarks()),
        retracted in prop::option::of(any::<bool>()),
    ) -> Visit {
        let observed_on = date(day.0, day.1, day.2).to_string();
        let submitted_at = format!("{observed_on}{time}");
        Visit {
            schema_version: "1.0".to_owned(), visit_id, revision, observed_on, submitted_at, observer_id, field,
            protocol, crop_stage: crop_stage.to_owned(), economics, sites, remarks, retracted,
        }
    }
}

/// As many visits, each with an id of its own.
fn visits() -> BoxedStrategy<Vec<Visit>> {
    prop::collection::vec(any_visit(), VISITS)
        .prop_map(|mut visits| {
            for (number, visit) in visits.iter_mut().enumerate() {
                visit.visit_id.push_str(&format!(" {number}"));
            }
            visits
        })
        .boxed()
}

// --- Files and what is stored of them ------------------------------------------------------------

fn written(visits: &[Visit], form: &str) -> Vec<u8> {
    let (header, rows) = plain_table(visits);
    let rows = || rows.iter().map(Vec::as_slice);
    let bytes = match form {
        "csv" => table_csv(&header, rows()),
        "xlsx" => table_xlsx("visits", &header, rows()),
        "parquet" => visits_parquet(visits),
        _ => visits_ndjson(visits),
    };
    bytes.unwrap_or_else(|failure| panic!("{form}: {failure}"))
}

/// A workspace that knows protocols of every form of counts.
fn workspace() -> TestWorkspace {
    let workspace = TestWorkspace::of_region("us:46");
    let settings = workspace.path().join("bractline.toml");
    let mut text = std::fs::read_to_string(&settings).expect("settings");
    for crop_type in CROP_TYPES {
        text += &format!(
            "\n[defaults.{crop_type}]\ntreatment_cost = {{ amount = 8.0, per = \"acre\", currency = \"USD\" }}\n\
             market_value = {{ amount = 0.16, per = \"lb\", currency = \"USD\" }}\n\
             plant_population = {{ count = 20000, per = \"acre\" }}\n"
        );
    }
    std::fs::write(&settings, text).expect("settings");
    let eggs = std::fs::read_to_string("pipeline/protocols/bsm-eggs.toml").expect("a protocol");
    for (id, form) in PROTOCOLS {
        let text = eggs
            .replace("form = \"heads\"", &format!("form = \"{form}\""))
            .replace("counts_per_unit = 6\n", "");
        let path = workspace
            .path()
            .join("protocols")
            .join(format!("{id}.toml"));
        std::fs::write(path, text).expect("a protocol of the workspace");
    }
    workspace
}

/// The rows of a table of which nothing was removed, as JSON.
fn stored(workspace: &TestWorkspace, table: &str) -> Vec<Map<String, Value>> {
    let mut lines = Vec::new();
    for path in contents(&workspace.path().join("store").join(table)).into_keys() {
        if path.extension().is_some_and(|ending| ending == "parquet") {
            lines.extend(rows_of(&path));
        }
    }
    lines
}

fn rows_of(path: &Path) -> Vec<Map<String, Value>> {
    let file = File::open(path).expect("a file of the store");
    let reader = ParquetRecordBatchReaderBuilder::try_new(file).expect("Parquet");
    let mut writer = LineDelimitedWriter::new(Vec::new());
    for batch in reader.build().expect("a reader") {
        writer.write(&batch.expect("rows")).expect("JSON");
    }
    writer.finish().expect("JSON");
    let text = String::from_utf8(writer.into_inner()).expect("UTF-8");
    let rows = text.lines().map(serde_json::from_str);
    rows.collect::<Result<_, _>>().expect("a row")
}

/// The visits that the stored rows tell, and the digest that is stored of each.
fn visits_of_store(workspace: &TestWorkspace) -> BTreeMap<(String, u64), (Value, String)> {
    let key = |row: &Map<String, Value>| {
        let revision = row["revision"].as_u64().expect("a number");
        (
            row["visit_id"].as_str().expect("a text").to_owned(),
            revision,
        )
    };
    let mut sites: BTreeMap<(String, u64), Vec<Map<String, Value>>> = BTreeMap::new();
    for row in stored(workspace, "units") {
        sites.entry(key(&row)).or_default().push(row);
    }
    let mut visits = BTreeMap::new();
    for row in stored(workspace, "visits") {
        let units = &sites[&key(&row)];
        let digest = row["content_sha256"].as_str().expect("hexadecimal");
        let before = visits.insert(key(&row), (visit_of(&row, units), digest.to_owned()));
        assert!(before.is_none(), "{:?} is stored twice", key(&row));
    }
    visits
}

fn visit_of(row: &Map<String, Value>, units: &[Map<String, Value>]) -> Value {
    // As submitted: what the workspace assumed has no amount, and its currency is not the sender's.
    let given = |name: &str| row.get(name).is_some_and(|value| !value.is_null());
    let mut economics = Map::new();
    for name in ["treatment_cost", "market_value"] {
        if given(&format!("{name}_amount")) {
            let price = json!({"amount": row[&format!("{name}_amount")], "per": row[&format!("{name}_per")],
                "currency": row[&format!("{name}_currency")]});
            economics.insert(name.to_owned(), price);
        }
    }
    if given("plant_population_count") {
        let plants = json!({"count": row["plant_population_count"],
            "per": row["plant_population_per"]});
        economics.insert("plant_population".to_owned(), plants);
    }
    let outline = row.get("outline").and_then(Value::as_str);
    let outline: Option<Value> = outline.map(|text| serde_json::from_str(text).expect("JSON"));
    let mut sites: Vec<Value> = Vec::new();
    for unit in units {
        let form = row["count_form"].as_str().expect("a form");
        if sites.last().is_none_or(|site| site["site"] != unit["site"]) {
            sites.push(
                json!({"site": unit["site"], "side": unit.get("side"), "lon": unit.get("site_lon"),
                "lat": unit.get("site_lat"), form: []}),
            );
        }
        let counts = &unit["counts"];
        let counted = match form {
            "heads" => counts.clone(),
            "plants" => counts[0].clone(),
            _ => json!({"catch": counts[0], "nights": unit["nights"]}),
        };
        let site = sites.last_mut().expect("a site");
        site[form].as_array_mut().expect("units").push(counted);
    }
    json!({
        "visit_id": row["visit_id"], "revision": row["revision"], "retracted": row["retracted"],
        "observed_on": row["observed_on"], "submitted_at": row["submitted_at"],
        "observer_id": row["observer_id"], "protocol": row["protocol"],
        "crop_stage": row["crop_stage_stated"],
        "field": {"field_id": row["field_id"], "farm_id": row.get("farm_id"), "lon": row["lon"],
            "lat": row["lat"], "area_ha": row["area_ha"], "county_id": row.get("county_id_stated"),
            "outline": outline, "crop_type": row["crop_type"]},
        "economics": economics,
        "sites": sites, "remarks": row.get("remarks"),
    })
}

/// A visit as the store can tell it: the time as an instant, what is left out as null.
fn as_stored(visit: &Visit) -> Value {
    let mut value = serde_json::to_value(visit).expect("JSON");
    let object = value.as_object_mut().expect("an object");
    object.remove("schema_version");
    object.insert(
        "retracted".to_owned(),
        json!(visit.retracted.unwrap_or(false)),
    );
    object.entry("remarks").or_insert(Value::Null);
    object.entry("economics").or_insert(json!({}));
    for name in ["farm_id", "county_id", "outline"] {
        let field = value["field"].as_object_mut().expect("a field");
        field.entry(name).or_insert(Value::Null);
    }
    for site in value["sites"].as_array_mut().expect("sites") {
        for name in ["side", "lon", "lat"] {
            let site = site.as_object_mut().expect("a site");
            site.entry(name).or_insert(Value::Null);
        }
    }
    value
}

/// Whether two values are the same, numbers by what they are worth and times by the instant.
fn same(one: &Value, other: &Value) -> bool {
    match (one, other) {
        (Value::Object(one), Value::Object(other)) => {
            let names: BTreeSet<&String> = one.keys().chain(other.keys()).collect();
            names
                .into_iter()
                .all(|name| match (one.get(name), other.get(name)) {
                    (Some(one), Some(other)) if name == "submitted_at" => {
                        instant(one) == instant(other)
                    }
                    (Some(one), Some(other)) => same(one, other),
                    _ => false,
                })
        }
        (Value::Array(one), Value::Array(other)) => {
            one.len() == other.len() && one.iter().zip(other).all(|(one, other)| same(one, other))
        }
        (Value::Number(one), Value::Number(other)) => one.as_f64() == other.as_f64(),
        _ => one == other,
    }
}

/// Microseconds since 1970, which is as fine as the store keeps a time.
fn instant(value: &Value) -> i64 {
    let text = value.as_str().expect("a time");
    let timestamp: Timestamp = text.parse().expect("a time");
    timestamp.as_microsecond()
}

fn digest(visit: &Visit) -> String {
    let bytes = serde_json::to_vec(visit).expect("JSON");
    let hash = Sha256::digest(bytes);
    hash.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn load_all(workspace: &TestWorkspace, files: &[PathBuf]) -> Value {
    let files: Vec<&Path> = files.iter().map(PathBuf::as_path).collect();
    workspace.load(&files)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 3, max_shrink_iters: 40, ..ProptestConfig::default() })]

    /// A quarter of the visits comes in each form and is stored as it was; then all of them come in every
    /// form, and none is new, none in conflict.
    #[test]
    fn a_visit_is_the_same_in_every_form(visits in visits()) {
        prop_assert!(visits.iter().all(Visit::conforms));
        let workspace = workspace();
        let quarter = VISITS / FORMS.len();
        let quarters: Vec<PathBuf> = FORMS
            .iter()
            .zip(visits.chunks(quarter))
            .map(|(form, visits)| workspace.write(&format!("quarter.{form}"), written(visits, form)))
            .collect();
        let account = load_all(&workspace, &quarters);
        let expected = [VISITS as u64, VISITS as u64, 0, 0];
        prop_assert_eq!(counts(&account), expected, "{:#}", account);

        let stored = visits_of_store(&workspace);
        prop_assert_eq!(stored.len(), VISITS);
        for visit in &visits {
            let key = (visit.visit_id.clone(), u64::from(visit.revision));
            let (told, stored_digest) = &stored[&key];
            let sent = as_stored(visit);
            prop_assert!(same(told, &sent), "stored {told}\nwritten {sent}");
            prop_assert_eq!(stored_digest, &digest(visit));
        }

        let whole: Vec<PathBuf> = FORMS
            .iter()
            .map(|form| workspace.write(&format!("all.{form}"), written(&visits, form)))
            .collect();
        let again = load_all(&workspace, &whole);
        let all = (FORMS.len() * VISITS) as u64;
        prop_assert_eq!(counts(&again), [all, 0, all, 0], "{:#}", again);
    }
}

#[test]
fn no_text_of_a_plain_table_is_a_formula() {
    let mut visit: Visit = serde_json::from_value(crate::support::visit("=1+1")).expect("a visit");
    for text in ["=1+1", "+1", "-1", "@a", "\t=1", "\r=1", "\u{ff1d}1"] {
        visit.remarks = Some(text.to_owned());
        visit.observer_id = text.to_owned();
        let (_, rows) = plain_table(std::slice::from_ref(&visit));
        for cell in rows.iter().flatten() {
            if let TableCell::Text(text) = cell {
                let starts = ['=', '+', '-', '@', '\t', '\r', '\n', '\u{ff1d}'];
                assert!(!text.starts_with(starts), "{text:?}");
            }
        }
    }
}
