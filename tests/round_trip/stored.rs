//! What is stored of a visit, and the visit made of it again.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::path::Path;

use datafusion::arrow::json::LineDelimitedWriter;
use jiff::Timestamp;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use scouting::visit::record::Visit;
use serde_json::{Map, Value, json};
use sha2::{Digest, Sha256};

use crate::support::{TestWorkspace, contents};

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
pub fn visits_of_store(workspace: &TestWorkspace) -> BTreeMap<(String, u64), (Value, String)> {
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
        "treated_on": row.get("treated_on"), "treatment": row.get("treatment"),
        "field": {"field_id": row["field_id"], "farm_id": row.get("farm_id"), "lon": row["lon"],
            "lat": row["lat"], "area_ha": row["area_ha"], "county_id": row.get("county_id_stated"),
            "outline": outline, "crop_type": row["crop_type"]},
        "economics": economics,
        "sites": sites, "remarks": row.get("remarks"),
    })
}

/// A visit as the store can tell it: the time as an instant, what is left out as null.
pub fn as_stored(visit: &Visit) -> Value {
    let mut value = serde_json::to_value(visit).expect("JSON");
    let object = value.as_object_mut().expect("an object");
    object.remove("schema_version");
    object.insert(
        "retracted".to_owned(),
        json!(visit.retracted.unwrap_or(false)),
    );
    for name in ["remarks", "treated_on", "treatment"] {
        object.entry(name).or_insert(Value::Null);
    }
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
pub fn same(one: &Value, other: &Value) -> bool {
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

pub fn digest(visit: &Visit) -> String {
    let bytes = serde_json::to_vec(visit).expect("JSON");
    let hash = Sha256::digest(bytes);
    hash.iter().map(|byte| format!("{byte:02x}")).collect()
}
