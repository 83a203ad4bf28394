//! Public tables and maps as the gate reads them: rows of named cells, and points.
//!
//! Reads the finished bytes, not what they were made from: what is judged is what would be published.

use std::collections::BTreeMap;

use serde_json::Value;

use scouting::failure::Cause;

/// One row: a line of a table, or the properties of a feature. A cell without a value is `None`.
pub(crate) type Cells = BTreeMap<String, Option<String>>;

/// A feature of a map.
pub(crate) struct Feature {
    pub(crate) cells: Cells,
    /// Whether it is drawn as points; a county is an area.
    pub(crate) is_point: bool,
    /// Every position of its geometry: longitude, latitude.
    pub(crate) positions: Vec<(f64, f64)>,
}

/// The rows of a CSV file with a header.
pub(crate) fn rows_of_csv(bytes: &[u8]) -> Result<Vec<Cells>, Cause> {
    let mut reader = csv::Reader::from_reader(bytes);
    let names: Vec<String> = reader.headers()?.iter().map(str::to_owned).collect();
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record?;
        let cells = names
            .iter()
            .zip(record.iter())
            .map(|(name, cell)| (name.clone(), (!cell.is_empty()).then(|| cell.to_owned())));
        rows.push(cells.collect());
    }
    Ok(rows)
}

/// The features of a GeoJSON `FeatureCollection`.
pub(crate) fn features_of(bytes: &[u8]) -> Result<Vec<Feature>, Cause> {
    let map: Value = serde_json::from_slice(bytes)?;
    let features = map["features"].as_array().ok_or("it has no features")?;
    features
        .iter()
        .map(|feature| {
            let properties = feature["properties"]
                .as_object()
                .ok_or("a feature has no properties")?;
            let cells = properties.iter().map(|(name, value)| {
                let cell = match value {
                    Value::Null => None,
                    Value::String(text) => Some(text.clone()),
                    other => Some(other.to_string()),
                };
                (name.clone(), cell)
            });
            let geometry = &feature["geometry"];
            let kind = geometry["type"].as_str().unwrap_or_default();
            let is_area = matches!(kind, "Polygon" | "MultiPolygon" | "");
            let mut positions = Vec::new();
            gather_positions(&geometry["coordinates"], &mut positions);
            Ok(Feature {
                cells: cells.collect(),
                is_point: !is_area,
                positions,
            })
        })
        .collect()
}

fn gather_positions(value: &Value, positions: &mut Vec<(f64, f64)>) {
    let Some(items) = value.as_array() else {
        return;
    };
    match (
        items.first().and_then(Value::as_f64),
        items.get(1).and_then(Value::as_f64),
    ) {
        (Some(lon), Some(lat)) => positions.push((lon, lat)),
        _ => items
            .iter()
            .for_each(|item| gather_positions(item, positions)),
    }
}
