//! A season as far as one week of it, for the whole region, and the seasons before: what an alert draws with
//! the counties.
//!
//! Picks and orders rows of public roll-up tables; computes no figure.

use arrow::array::{Array, ArrayRef, AsArray, RecordBatch};
use arrow::compute::cast;
use arrow::datatypes::{DataType, Float64Type, Int64Type};

use crate::disclosure::median_class::MedianClass;
use crate::failure::{Failure, Kind};
use crate::rollup::public_tables::PublicTables;
use crate::visit::stage::StageScale;
use crate::visit::week::IsoWeek;

/// The season of a week up to it, and the earlier seasons whole, under one protocol.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SeasonSoFar {
    /// The weeks of this season with fields visited, in order.
    pub weeks: Vec<RegionWeek>,
    /// The weeks of all earlier seasons, in order.
    pub earlier: Vec<RegionWeek>,
    /// How the counties of the week spread over the classes of the median, from low to high.
    pub pressure: Vec<PressureClass>,
    /// The crop stages of each week of this season, by week and in the order of growth.
    pub stages: Vec<StageCount>,
}

/// The shown counties of one week taken together.
#[derive(Debug, Clone, PartialEq)]
pub struct RegionWeek {
    /// The ISO week-year.
    pub season: i64,
    /// ISO 8601 week, as `2026-W30`.
    pub iso_week: String,
    /// Fields with a visit within the stage window.
    pub fields_visited: i64,
    /// Least and most fields of these at threshold.
    pub at_threshold: [i64; 2],
    /// Middle of the least and the most share at threshold, 0 to 1.
    pub share_at_threshold: f64,
}

/// The counties of one class of the median.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PressureClass {
    /// Whether nothing was found in them.
    pub nothing_found: bool,
    /// Lower bound of the class, included.
    pub from: f64,
    /// Upper bound of the class, not included; `None` for the highest.
    pub below: Option<f64>,
    /// How many counties.
    pub counties: i64,
}

/// The fields of one week in one stage, or one group of stages.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StageCount {
    /// ISO 8601 week, as `2026-W30`.
    pub iso_week: String,
    /// `V`, `R1` to `R9`, a stage of the protocol's own scale, or a range of these: `R2–R3`.
    pub crop_stage: String,
    /// How many fields.
    pub fields: i64,
    /// Whether the stages are in the protocol's stage window.
    pub in_window: bool,
}

impl SeasonSoFar {
    /// That of a week under a protocol, whose crop has this scale of stages.
    ///
    /// # Errors
    /// A [`Failure`] that names the column, if a roll-up table lacks one.
    pub fn of(
        tables: &PublicTables,
        week: IsoWeek,
        protocol: &str,
        scale: &StageScale,
    ) -> Result<SeasonSoFar, Failure> {
        let season = i64::from(week.season());
        let until = week.to_string();
        let mut so_far = SeasonSoFar::default();
        for row in region_weeks(&tables.region_week().batch, protocol)? {
            if row.season < season {
                so_far.earlier.push(row);
            } else if row.season == season && row.iso_week <= until {
                so_far.weeks.push(row);
            }
        }
        so_far.pressure = pressure_classes(&tables.region_median().batch, protocol, &until)?;
        so_far.stages = stage_counts(&tables.region_stage().batch, protocol, season)?;
        so_far.stages.retain(|row| row.iso_week <= until);
        so_far.stages.sort_by_key(|row| {
            (
                row.iso_week.clone(),
                place_of(&row.crop_stage, scale),
                row.crop_stage.clone(),
            )
        });
        Ok(so_far)
    }
}

/// Place of a stage in the order of growth; the vegetative ones together come first.
fn place_of(crop_stage: &str, scale: &StageScale) -> i32 {
    let first = crop_stage.split('–').next().unwrap_or_default();
    scale.read(first).map_or(-1, |stage| stage.first_place())
}

fn region_weeks(batch: &RecordBatch, protocol: &str) -> Result<Vec<RegionWeek>, Failure> {
    let [weeks, protocols] = [text(batch, "iso_week")?, text(batch, "protocol")?];
    let seasons = whole(batch, "season")?;
    let visited = whole(batch, "fields_visited")?;
    let least = whole(batch, "at_threshold_min")?;
    let most = whole(batch, "at_threshold_max")?;
    let rows = (0..batch.num_rows()).filter(|row| protocols[*row] == protocol);
    Ok(rows
        .filter(|row| visited[*row] > 0)
        .map(|row| RegionWeek {
            season: seasons[row],
            iso_week: weeks[row].clone(),
            fields_visited: visited[row],
            at_threshold: [least[row], most[row]],
            share_at_threshold: (least[row] + most[row]) as f64 / 2.0 / visited[row] as f64,
        })
        .collect())
}

fn pressure_classes(
    batch: &RecordBatch,
    protocol: &str,
    iso_week: &str,
) -> Result<Vec<PressureClass>, Failure> {
    let [weeks, protocols] = [text(batch, "iso_week")?, text(batch, "protocol")?];
    let names = text(batch, "median_class")?;
    let from = column(batch, "median_from", &DataType::Float64)?;
    let below = column(batch, "median_below", &DataType::Float64)?;
    let below = below.as_primitive::<Float64Type>();
    let counties = whole(batch, "counties")?;
    let mut classes: Vec<PressureClass> = (0..batch.num_rows())
        .filter(|row| weeks[*row] == iso_week && protocols[*row] == protocol)
        .map(|row| PressureClass {
            nothing_found: names[row] == MedianClass::NOTHING_FOUND.word(),
            from: from.as_primitive::<Float64Type>().value(row),
            below: below.is_valid(row).then(|| below.value(row)),
            counties: counties[row],
        })
        .collect();
    classes.sort_by(|one, other| {
        let found = one.nothing_found.cmp(&other.nothing_found).reverse();
        found.then(one.from.total_cmp(&other.from))
    });
    Ok(classes)
}

fn stage_counts(
    batch: &RecordBatch,
    protocol: &str,
    season: i64,
) -> Result<Vec<StageCount>, Failure> {
    let [weeks, protocols, stages] = [
        text(batch, "iso_week")?,
        text(batch, "protocol")?,
        text(batch, "crop_stage")?,
    ];
    let seasons = whole(batch, "season")?;
    let fields = whole(batch, "fields")?;
    let in_window = column(batch, "in_window", &DataType::Boolean)?;
    Ok((0..batch.num_rows())
        .filter(|row| protocols[*row] == protocol && seasons[*row] == season)
        .map(|row| StageCount {
            iso_week: weeks[row].clone(),
            crop_stage: stages[row].clone(),
            fields: fields[row],
            in_window: in_window.as_boolean().value(row),
        })
        .collect())
}

fn text(batch: &RecordBatch, name: &str) -> Result<Vec<String>, Failure> {
    let array = column(batch, name, &DataType::Utf8)?;
    let values = array.as_string::<i32>().iter();
    Ok(values
        .map(|value| value.unwrap_or_default().to_owned())
        .collect())
}

fn whole(batch: &RecordBatch, name: &str) -> Result<Vec<i64>, Failure> {
    let array = column(batch, name, &DataType::Int64)?;
    Ok(array.as_primitive::<Int64Type>().values().to_vec())
}

fn column(batch: &RecordBatch, name: &str, data_type: &DataType) -> Result<ArrayRef, Failure> {
    let broken = |why: String| Failure::new(Kind::Stage, format!("column {name}: {why}"));
    let array = batch
        .column_by_name(name)
        .ok_or_else(|| broken("a roll-up table lacks it".to_owned()))?;
    cast(array, data_type).map_err(|error| broken(error.to_string()))
}
