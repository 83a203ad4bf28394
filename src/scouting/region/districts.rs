//! Districts: groups of counties, from a property of the user's boundary file.

use std::collections::BTreeMap;

use serde_json::Value;

use super::outline::label_text;
use crate::failure::{Failure, Kind};

/// The district of each county of a GeoJSON or TopoJSON text that names one, by the county's id.
///
/// # Errors
/// A [`Failure`] if no county has the property: it would be misspelled.
pub fn districts_in(
    text: &str,
    place: &str,
    id_property: &str,
    district_property: &str,
) -> Result<BTreeMap<String, String>, Failure> {
    let mut districts = BTreeMap::new();
    if let Ok(document) = serde_json::from_str::<Value>(text) {
        gather(&document, id_property, district_property, &mut districts);
    }
    match districts.is_empty() {
        false => Ok(districts),
        true => Err(Failure::new(
            Kind::Boundaries,
            format!("no county has the property {district_property:?}, which names its district"),
        )
        .at(place.to_owned())
        .mend("write the property's name in [region] district_property, or leave it empty")),
    }
}

/// Walks the lists in which both forms keep their features.
fn gather(
    value: &Value,
    id_property: &str,
    district_property: &str,
    districts: &mut BTreeMap<String, String>,
) {
    if let Some(properties) = value.get("properties").and_then(Value::as_object) {
        let own = value.get("id").filter(|_| id_property == "id");
        let id = properties.get(id_property).or(own).and_then(label_text);
        let district = properties.get(district_property).and_then(label_text);
        districts.extend(id.zip(district));
    }
    for list in ["features", "geometries"] {
        let features = value.get(list).and_then(Value::as_array);
        for feature in features.into_iter().flatten() {
            gather(feature, id_property, district_property, districts);
        }
    }
    if let Some(objects) = value.get("objects").and_then(Value::as_object) {
        for object in objects.values() {
            gather(object, id_property, district_property, districts);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_forms_name_districts_and_a_misspelled_property_is_told() {
        let geojson = r#"{"type":"FeatureCollection","features":[
            {"type":"Feature","properties":{"id":"001","DISTRICT":"North"},"geometry":null},
            {"type":"Feature","id":2,"properties":{"DISTRICT":"South"},"geometry":null},
            {"type":"Feature","properties":{"id":"003"},"geometry":null}]}"#;
        let found = districts_in(geojson, "x.geojson", "id", "DISTRICT").expect("districts");
        assert_eq!(found.len(), 2);
        assert_eq!((&*found["001"], &*found["2"]), ("North", "South"));
        let topojson = r#"{"type":"Topology","objects":{"c":{"type":"GeometryCollection",
            "geometries":[{"properties":{"G":"7","D":"West"}}]}}}"#;
        let found = districts_in(topojson, "x.json", "G", "D").expect("districts");
        assert_eq!(&*found["7"], "West");
        let wrong = districts_in(geojson, "x.geojson", "id", "district").expect_err("misspelled");
        assert!(wrong.to_string().contains("\"district\""), "{wrong}");
    }
}
