//! What the values of a column keep to, by its name and unit: for the description of the package and its
//! dictionary.

use arrow::datatypes::DataType;
use serde_json::{Map, Value, json};

use store::stages::files::StageColumn;

/// The constraints of Table Schema for a column.
pub(super) fn constraints_of(column: &StageColumn) -> Map<String, Value> {
    let mut constraints = Map::new();
    if !column.nullable {
        constraints.insert("required".to_owned(), json!(true));
    }
    let name = column.name.as_str();
    if let Some(pattern) = pattern_of(name) {
        constraints.insert("pattern".to_owned(), json!(pattern));
    }
    if let Some(words) = words_of(name) {
        constraints.insert("enum".to_owned(), json!(words));
    }
    let is_number = column.data_type == DataType::Float64 || column.data_type.is_integer();
    if is_number {
        let (least, most) = range_of(name);
        // A whole number where the column has such.
        let number = |value: f64| match column.data_type {
            DataType::Float64 => json!(value),
            _ => json!(value as i64),
        };
        constraints.extend(least.map(|least| ("minimum".to_owned(), number(least))));
        constraints.extend(most.map(|most| ("maximum".to_owned(), number(most))));
    }
    constraints
}

fn pattern_of(name: &str) -> Option<&'static str> {
    match name {
        "iso_week" | "treatment_first_week" | "treatment_last_week" => Some("[0-9]{4}-W[0-9]{2}"),
        "counts" => Some("[0-9]+( [0-9]+)*"),
        "submission_sha256" | "source_sha256" => Some("[0-9a-f]{64}"),
        // Rows that an older program made public have it without the letters.
        "cell" => Some("r-?[0-9]+c[0-9]+|-?[0-9]+\\.[0-9]+"),
        "treatment_cost_currency" | "market_value_currency" => Some("[A-Z]{3}"),
        "submitted_at" => Some("[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9:]{8}(\\.[0-9]+)?Z"),
        _ => None,
    }
}

fn words_of(name: &str) -> Option<&'static [&'static str]> {
    match name {
        "window_basis" => Some(&["weather", "days", "both"]),
        "count_form" => Some(&["heads", "plants", "traps"]),
        "status" => Some(&[
            "median",
            "nothing-found",
            "some-at-threshold",
            "none-at-threshold",
            "other-stage",
            "no-figures",
        ]),
        "level" => Some(&["survey", "strict"]),
        // Classes of the level survey, then those of strict.
        "median_class" => Some(&[
            "nothing-found",
            "0-0.25",
            "0.25-0.5",
            "0.5-1",
            "1-1.5",
            "1.5-3",
            "3+",
            // Of rows that were published before there was a class of 3 or more.
            "1.5+",
            "0-0.5",
            "0.5+",
            "1+",
        ]),
        "mean_range" => Some(&["between", "fewer-than", "at-least", "not-given"]),
        "treatment" => Some(&["none", "insecticide", "other"]),
        "treatment_cost_per" | "plant_population_per" => Some(&["acre", "ha"]),
        "market_value_per" => Some(&["lb", "kg"]),
        _ => None,
    }
}

/// The least and the most that a number can be.
fn range_of(name: &str) -> (Option<f64>, Option<f64>) {
    let ends = |end: &str| name.ends_with(end);
    let begins = |start: &str| name.starts_with(start);
    match name {
        "tmin_c" | "tmax_c" => (Some(-100.0), Some(100.0)),
        "lon" | "cell_lon" | "site_lon" => (Some(-180.0), Some(180.0)),
        "lat" | "cell_lat" | "site_lat" => (Some(-90.0), Some(90.0)),
        "edition" => (Some(1.0), Some(2.0)),
        "moran_i" | "stage_first" | "stage_last" => (None, None),
        "revision" | "unit" | "line" | "row" | "nights" => (Some(1.0), None),
        "moran_p" | "probability_at_threshold" | "confidence_at_threshold" => {
            (Some(0.0), Some(1.0))
        }
        _ if begins("share") || begins("over_third") || ends("share_at_threshold") => {
            (Some(0.0), Some(1.0))
        }
        _ if begins("site") && name != "sites" => (Some(0.0), None),
        _ => (Some(0.0), None),
    }
}
