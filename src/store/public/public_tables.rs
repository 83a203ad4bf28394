//! The public tables: what the stages of `pipeline/public` make of public rows, in a session of their own that holds
//! nothing else. So no public figure can be based on anything that is not in a public row.

use std::collections::HashMap;
use std::sync::Arc;

use arrow::array::{
    ArrayRef, BooleanArray, Date32Array, Float64Array, Int32Array, Int64Array, RecordBatch,
    StringArray,
};
use datafusion::prelude::{SessionConfig, SessionContext};
use jiff::civil::Date;

use crate::stages::computed::clustering::week_clustering;
use crate::stages::computed::smoothing::county_share_smoothed;
use crate::stages::computed::windows::days_since_epoch;
use crate::stages::engine::Engine;
use crate::stages::files::public_stages;
use crate::stages::inputs::{Setting, keep_counties, table_of};
use crate::stages::rollup::StageTable;
use crate::stages::run_stage::run_stage;
use crate::stages::stage_rows::whole_table;
use disclosure::place::Place;
use disclosure::public_row::PublicRow;
use scouting::failure::{Failure, Kind};
use scouting::visit::week::{IsoWeek, Weeks};

/// The public rows and the tables that are made of them. Whatever writes a public file takes this.
#[derive(Debug, Clone)]
pub struct PublicTables {
    rows: Vec<PublicRow>,
    tables: HashMap<String, StageTable>,
}

impl PublicTables {
    /// The tables of these rows.
    ///
    /// # Errors
    /// A [`Failure`] if a stage fails.
    pub async fn of(rows: Vec<PublicRow>, setting: &Setting) -> Result<PublicTables, Failure> {
        let session =
            SessionContext::new_with_config(SessionConfig::new().with_target_partitions(1));
        let engine = Engine::here(&session);
        let keep = async |name: &str, batch: RecordBatch| {
            engine.keep(name, batch.schema(), vec![vec![batch]]).await
        };
        keep_counties(engine, setting).await?;
        let days = DaysOf(&setting.weeks);
        keep("public_row", row_table(&rows, days)?).await?;
        keep("public_stage", stage_table(&rows, days)?).await?;
        keep("public_cell", cell_table(&rows, days)?).await?;
        keep(
            "county_share_smoothed",
            county_share_smoothed(&rows, setting)?,
        )
        .await?;
        keep("week_clustering", week_clustering(&rows, setting)?).await?;
        let mut tables = HashMap::new();
        for stage in public_stages()? {
            let parts = run_stage(engine, &stage).await?;
            let batch = whole_table(&stage, &parts)?;
            tables.insert(stage.table.clone(), StageTable { stage, batch });
        }
        Ok(PublicTables { rows, tables })
    }

    /// The rows, by place, week and protocol.
    pub fn rows(&self) -> &[PublicRow] {
        &self.rows
    }

    /// A table by its name.
    pub fn table(&self, name: &str) -> Option<&StageTable> {
        self.tables.get(name)
    }

    /// Counties and weeks.
    pub fn county_week(&self) -> &StageTable {
        &self.tables["county_week"]
    }

    /// Weeks of fields that are in no row of a county.
    pub fn elsewhere_week(&self) -> &StageTable {
        &self.tables["elsewhere_week"]
    }

    /// Weeks of districts.
    pub fn district_week(&self) -> &StageTable {
        &self.tables["district_week"]
    }

    /// Weeks of the whole region.
    pub fn region_week(&self) -> &StageTable {
        &self.tables["region_week"]
    }

    /// Weeks and classes of the median.
    pub fn region_median(&self) -> &StageTable {
        &self.tables["region_median"]
    }

    /// Weeks and crop stages.
    pub fn region_stage(&self) -> &StageTable {
        &self.tables["region_stage"]
    }

    /// Grid cells and weeks with visits.
    pub fn sample_point(&self) -> &StageTable {
        &self.tables["sample_point"]
    }
}

/// The days of the weeks of rows, as columns.
#[derive(Clone, Copy)]
struct DaysOf<'a>(&'a Weeks);

impl DaysOf<'_> {
    fn starts<'r>(self, rows: impl Iterator<Item = &'r PublicRow>) -> Result<ArrayRef, Failure> {
        days_of(rows, |week| self.0.first_day(week))
    }

    fn ends<'r>(self, rows: impl Iterator<Item = &'r PublicRow>) -> Result<ArrayRef, Failure> {
        days_of(rows, |week| self.0.last_day(week))
    }
}

fn days_of<'r>(
    rows: impl Iterator<Item = &'r PublicRow>,
    of: impl Fn(IsoWeek) -> Date,
) -> Result<ArrayRef, Failure> {
    let days = rows.map(|row| match row.iso_week.parse() {
        Ok(week) => Ok(days_since_epoch(of(week))),
        Err(why) => Err(Failure::new(Kind::Damaged, "a public row names no week").caused_by(why)),
    });
    let days = days.collect::<Result<Vec<i32>, Failure>>()?;
    Ok(Arc::new(Date32Array::from(days)))
}

fn texts<'a>(values: impl Iterator<Item = Option<&'a str>>) -> ArrayRef {
    Arc::new(values.collect::<StringArray>())
}

fn whole(values: impl Iterator<Item = Option<u32>>) -> ArrayRef {
    Arc::new(
        values
            .map(|value| value.map(i64::from))
            .collect::<Int64Array>(),
    )
}

fn small(values: impl Iterator<Item = i32>) -> ArrayRef {
    Arc::new(Int32Array::from_iter_values(values))
}

fn floats(values: impl Iterator<Item = Option<f64>>) -> ArrayRef {
    Arc::new(values.collect::<Float64Array>())
}

fn row_table(rows: &[PublicRow], days: DaysOf<'_>) -> Result<RecordBatch, Failure> {
    let each = || rows.iter();
    let words: Vec<String> = each().map(|row| row.place.in_words()).collect();
    let classes: Vec<Option<String>> = each()
        .map(|row| row.median.map(|class| class.word()))
        .collect();
    let district = |row: &'_ PublicRow| match &row.place {
        Place::District(name) => Some(name.clone()),
        _ => None,
    };
    let districts: Vec<Option<String>> = each().map(district).collect();
    let week =
        |place: usize| texts(each().map(move |row| Some(&*row.treatment_weeks.as_ref()?[place])));
    let share = |place: usize| floats(each().map(move |row| Some(row.share_interval()?[place])));
    let over_third = |place: usize| floats(each().map(move |row| Some(row.over_third()?[place])));
    table_of(vec![
        ("place", texts(words.iter().map(|words| Some(&**words)))),
        ("county_id", texts(each().map(|row| row.place.county()))),
        ("district", texts(districts.iter().map(Option::as_deref))),
        ("season", small(each().map(|row| row.season))),
        ("iso_week", texts(each().map(|row| Some(&*row.iso_week)))),
        ("week_start", days.starts(each())?),
        ("week_end", days.ends(each())?),
        ("protocol", texts(each().map(|row| Some(&*row.protocol)))),
        ("edition", small(each().map(|row| i32::from(row.edition)))),
        (
            "visits_until",
            Arc::new(Date32Array::from_iter_values(
                each().map(|row| days_since_epoch(row.visits_until)),
            )),
        ),
        ("level", texts(each().map(|row| Some(row.level.word())))),
        (
            "fields_visited",
            whole(each().map(|row| Some(row.fields_visited))),
        ),
        (
            "at_threshold_min",
            whole(each().map(|row| Some(row.at_threshold[0]))),
        ),
        (
            "at_threshold_max",
            whole(each().map(|row| Some(row.at_threshold[1]))),
        ),
        ("share_low", share(0)),
        ("share_high", share(1)),
        ("over_third_low", over_third(0)),
        ("over_third_high", over_third(1)),
        ("median_class", texts(classes.iter().map(Option::as_deref))),
        (
            "median_from",
            floats(each().map(|row| Some(row.median?.from))),
        ),
        ("median_below", floats(each().map(|row| row.median?.below))),
        ("mean_pressure", floats(each().map(|row| row.mean_pressure))),
        (
            "fields_with_assumed_economics",
            whole(each().map(|row| row.fields_with_assumed_economics)),
        ),
        (
            "fields_outside_stage",
            whole(each().map(|row| row.fields_outside_stage)),
        ),
        ("treatment_first_week", week(0)),
        ("treatment_last_week", week(1)),
        (
            "window_basis",
            texts(each().map(|row| row.window_basis.as_deref())),
        ),
    ])
}

fn stage_table(rows: &[PublicRow], days: DaysOf<'_>) -> Result<RecordBatch, Failure> {
    let each = || {
        rows.iter()
            .flat_map(|row| row.stages.iter().map(move |stage| (row, stage)))
    };
    table_of(vec![
        ("season", small(each().map(|(row, _)| row.season))),
        (
            "iso_week",
            texts(each().map(|(row, _)| Some(&*row.iso_week))),
        ),
        ("week_start", days.starts(each().map(|(row, _)| row))?),
        ("week_end", days.ends(each().map(|(row, _)| row))?),
        (
            "protocol",
            texts(each().map(|(row, _)| Some(&*row.protocol))),
        ),
        (
            "crop_stage",
            texts(each().map(|(_, stage)| Some(&*stage.crop_stage))),
        ),
        (
            "in_window",
            Arc::new(
                each()
                    .map(|(_, stage)| Some(stage.in_window))
                    .collect::<BooleanArray>(),
            ),
        ),
        ("fields", whole(each().map(|(_, stage)| Some(stage.fields)))),
    ])
}

fn cell_table(rows: &[PublicRow], days: DaysOf<'_>) -> Result<RecordBatch, Failure> {
    let each = || {
        rows.iter()
            .flat_map(|row| row.cells.iter().map(move |cell| (row, cell)))
    };
    table_of(vec![
        ("cell", texts(each().map(|(_, cell)| Some(&*cell.cell)))),
        ("cell_lon", floats(each().map(|(_, cell)| Some(cell.lon)))),
        ("cell_lat", floats(each().map(|(_, cell)| Some(cell.lat)))),
        (
            "grid_km",
            floats(each().map(|(_, cell)| Some(cell.grid_km))),
        ),
        ("season", small(each().map(|(row, _)| row.season))),
        (
            "iso_week",
            texts(each().map(|(row, _)| Some(&*row.iso_week))),
        ),
        ("week_start", days.starts(each().map(|(row, _)| row))?),
        ("week_end", days.ends(each().map(|(row, _)| row))?),
        (
            "protocol",
            texts(each().map(|(row, _)| Some(&*row.protocol))),
        ),
    ])
}
