//! A roll-up: its finished tables, all private, and the rows of a table by week.

use std::collections::HashMap;

use arrow::array::{AsArray, BooleanArray, RecordBatch};
use arrow::compute::filter_record_batch;
use arrow::datatypes::Int32Type;

use crate::stages::files::Stage;
use crate::stages::stage_rows::broken;
use scouting::failure::Failure;
use scouting::visit::week::IsoWeek;

/// The finished tables of a roll-up, all private.
#[derive(Debug, Clone)]
pub struct Rollup {
    /// The store version that it was made from.
    pub store_version: i64,
    /// Visits that are left out, since their protocol gives them no threshold.
    pub visits_without_threshold: u64,
    pub(crate) tables: HashMap<String, StageTable>,
}

impl Rollup {
    /// A finished table by its name.
    pub fn table(&self, name: &str) -> Option<&StageTable> {
        self.tables.get(name)
    }

    /// The private table of fields and weeks.
    pub fn field_week(&self) -> &StageTable {
        &self.tables["field_week"]
    }

    /// The private table of counties and weeks: every figure, small groups included.
    pub fn county_week_full(&self) -> &StageTable {
        &self.tables["county_week_full"]
    }

    /// Visits, fields, sites and units of every county-week, and the standard error of its mean pressure.
    pub fn county_week_effort(&self) -> &StageTable {
        &self.tables["county_week_effort"]
    }
}

/// A stage's table with its documentation.
#[derive(Debug, Clone)]
pub struct StageTable {
    /// The stage that made it.
    pub stage: Stage,
    /// Its rows, in the order of its key.
    pub batch: RecordBatch,
}

/// The weeks that an output holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Period {
    /// Every week of the store.
    All,
    /// One season: an ISO week-year.
    Season(i32),
    /// One week.
    Week(IsoWeek),
}

impl Period {
    /// Whether a week is in it.
    pub fn holds(self, iso_week: &str, season: i32) -> bool {
        match self {
            Period::All => true,
            Period::Season(wanted) => season == wanted,
            Period::Week(wanted) => iso_week == wanted.to_string(),
        }
    }
}

impl StageTable {
    /// The rows of a period under a protocol, or under all.
    pub fn rows_under(
        &self,
        period: Period,
        protocol: Option<&str>,
    ) -> Result<RecordBatch, Failure> {
        let rows = self.rows_of(period)?;
        let Some(wanted) = protocol else {
            return Ok(rows);
        };
        let column = rows
            .column_by_name("protocol")
            .ok_or_else(|| broken(&self.stage, "it has no column protocol"))?;
        let is_wanted = column.as_string::<i32>().iter();
        let is_wanted: BooleanArray = is_wanted.map(|id| Some(id == Some(wanted))).collect();
        filter_record_batch(&rows, &is_wanted)
            .map_err(|error| broken(&self.stage, &error.to_string()).caused_by(error))
    }

    /// The rows of a period, for a table with the columns `iso_week` and `season`.
    pub fn rows_of(&self, period: Period) -> Result<RecordBatch, Failure> {
        let column = |name: &str| {
            self.batch
                .column_by_name(name)
                .ok_or_else(|| broken(&self.stage, &format!("it has no column {name}")))
        };
        let weeks = column("iso_week")?.as_string::<i32>();
        let seasons = column("season")?.as_primitive::<Int32Type>();
        let wanted: BooleanArray = (0..self.batch.num_rows())
            .map(|row| Some(period.holds(weeks.value(row), seasons.value(row))))
            .collect();
        filter_record_batch(&self.batch, &wanted)
            .map_err(|error| broken(&self.stage, &error.to_string()).caused_by(error))
    }
}
