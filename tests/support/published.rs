//! Weeks, rows and sampling statistics of fields as the stages compute them.

use arrow::array::{AsArray, RecordBatch};
use arrow::datatypes::Float64Type;
use jiff::civil::Date;
use scouting::visit::record::Visit;
use scouting::visit::sampling::SamplingStatistics;
use scouting::visit::week::IsoWeek;
use scouting::visit::zones::Zones;
use serde_json::Value;

use crate::support;
use crate::support::stages::{self, FIELD_WEEK};

// --- ISO weeks -----------------------------------------------------------------------------------

pub fn week_of(day: &str) -> IsoWeek {
    IsoWeek::of(day.parse::<Date>().expect("a day"))
}

// --- Wilson intervals ----------------------------------------------------------------------------

/// Runs the stage of county-weeks over one county a group of pressures; the office's table, in full precision.
pub fn county_weeks(groups: &[Vec<f64>]) -> RecordBatch {
    let mut rows = String::new();
    let mut names = String::new();
    for (group, pressures) in groups.iter().enumerate() {
        names += &format!("C{group:04} County{group}\n");
        for (field, pressure) in pressures.iter().enumerate() {
            rows += &format!("F{group}-{field} C{group:04} - true 10 {pressure}\n");
        }
    }
    let given = [
        (
            "field_week",
            stages::table(&format!("{FIELD_WEEK}\n{rows}")),
        ),
        (
            "county",
            stages::table(&format!("county_id:text county_name:text\n{names}")),
        ),
    ];
    stages::run("county_week_full", &given)
}

pub fn numbers(batch: &RecordBatch, name: &str) -> Vec<f64> {
    let column = batch.column_by_name(name).expect("a column of the table");
    column.as_primitive::<Float64Type>().values().to_vec()
}

// --- Sampling statistics -------------------------------------------------------------------------

pub fn statistics_of(sites: &Value) -> SamplingStatistics {
    let mut visit = support::visit("sampled");
    visit["sites"] = sites.clone();
    let visit: Visit = serde_json::from_value(visit).expect("a visit");
    assert!(visit.conforms());
    visit.sampling_statistics(true, &Zones::default())
}
