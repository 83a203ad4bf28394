//! A season as far as one week of it, for the whole region, and the seasons before: what an alert draws with
//! the counties.
//!
//! Picks and orders rows of public roll-up tables; computes no figure.

use arrow::array::RecordBatch;
use serde::Deserialize;

use disclosure::median_class::MedianClass;
use scouting::failure::Failure;
use scouting::visit::stage::StageScale;
use scouting::visit::week::IsoWeek;
use store::public::public_tables::PublicTables;
use store::stages::stage_rows::rows_of;

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

#[derive(Deserialize)]
struct RegionWeekRow<'a> {
    season: i64,
    iso_week: String,
    protocol: &'a str,
    fields_visited: i64,
    at_threshold_min: i64,
    at_threshold_max: i64,
}

fn region_weeks(batch: &RecordBatch, protocol: &str) -> Result<Vec<RegionWeek>, Failure> {
    let rows = rows_of::<RegionWeekRow<'_>>(batch, "region_week")?.into_iter();
    let rows = rows.filter(|row| row.protocol == protocol && row.fields_visited > 0);
    Ok(rows
        .map(|row| {
            let [least, most] = [row.at_threshold_min, row.at_threshold_max];
            RegionWeek {
                season: row.season,
                iso_week: row.iso_week,
                fields_visited: row.fields_visited,
                at_threshold: [least, most],
                share_at_threshold: (least + most) as f64 / 2.0 / row.fields_visited as f64,
            }
        })
        .collect())
}

#[derive(Deserialize)]
struct RegionMedianRow<'a> {
    iso_week: &'a str,
    protocol: &'a str,
    median_class: &'a str,
    median_from: f64,
    median_below: Option<f64>,
    counties: i64,
}

fn pressure_classes(
    batch: &RecordBatch,
    protocol: &str,
    iso_week: &str,
) -> Result<Vec<PressureClass>, Failure> {
    let rows = rows_of::<RegionMedianRow<'_>>(batch, "region_median")?.into_iter();
    let mut classes: Vec<PressureClass> = rows
        .filter(|row| row.iso_week == iso_week && row.protocol == protocol)
        .map(|row| PressureClass {
            nothing_found: row.median_class == MedianClass::NOTHING_FOUND.word(),
            from: row.median_from,
            below: row.median_below,
            counties: row.counties,
        })
        .collect();
    classes.sort_by(|one, other| {
        let found = one.nothing_found.cmp(&other.nothing_found).reverse();
        found.then(one.from.total_cmp(&other.from))
    });
    Ok(classes)
}

#[derive(Deserialize)]
struct RegionStageRow<'a> {
    season: i64,
    iso_week: String,
    protocol: &'a str,
    crop_stage: String,
    fields: i64,
    in_window: bool,
}

fn stage_counts(
    batch: &RecordBatch,
    protocol: &str,
    season: i64,
) -> Result<Vec<StageCount>, Failure> {
    let rows = rows_of::<RegionStageRow<'_>>(batch, "region_stage")?.into_iter();
    Ok(rows
        .filter(|row| row.protocol == protocol && row.season == season)
        .map(|row| StageCount {
            iso_week: row.iso_week,
            crop_stage: row.crop_stage,
            fields: row.fields,
            in_window: row.in_window,
        })
        .collect())
}
