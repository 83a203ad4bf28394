//! Rows of the kept tables, and how they become Arrow batches. Column order is that of
//! [`super::schema`].

use std::sync::Arc;

use arrow::array::{
    ArrayRef, BinaryArray, BinaryBuilder, BooleanArray, Date32Array, Float64Array, Float64Builder,
    Int32Array, Int32Builder, Int64Array, ListArray, RecordBatch, StringArray, StringBuilder,
    TimestampMicrosecondArray,
};
use arrow::buffer::OffsetBuffer;
use arrow::datatypes::{DataType, Field};
use bytes::Bytes;
use jiff::Timestamp;
use jiff::civil::{Date, date};

use super::closings::HeldId;
use super::receipt::Receipt;
use super::schema::arrow_schema;
use super::tables::Kept;
use crate::visit::code::Code;
use crate::visit::economics::EconomicMember;
use crate::visit::finding::Finding;
use crate::visit::record::{Economics, Site, Visit};
use crate::visit::sampling::{SamplingStatistics, Unit};
use crate::visit::stage::Stage;
use crate::visit::week::IsoWeek;

/// An accepted visit with all that was derived from it.
#[derive(Debug, Clone)]
pub struct VisitRow {
    /// The record.
    pub visit: Visit,
    /// Line of the submission, or place in its JSON array, from 1.
    pub line: u64,
    /// Day of the visit.
    pub observed_on: Date,
    /// When it was handed in.
    pub submitted_at: Timestamp,
    /// Its ISO week.
    pub week: IsoWeek,
    /// Its crop stage.
    pub stage: Stage,
    /// County of the point.
    pub county_id: String,
    /// What the counts say.
    pub statistics: SamplingStatistics,
    /// Its economics, what its threshold needs and it lacks filled in.
    pub economics: Economics,
    /// Members of the economics that were filled in from the workspace's defaults.
    pub assumed: Vec<EconomicMember>,
    /// What is doubtful, in sentences, until the record is accepted.
    pub doubts: Vec<Finding>,
    /// Codes of all that is doubtful about an accepted record.
    pub flags: Vec<Code>,
    /// SHA-256 of the record in canonical form.
    pub content_sha256: [u8; 32],
}

/// A record that could not be accepted.
#[derive(Debug, Clone)]
pub struct HeldRow {
    /// Line of the submission, or place in its JSON array, from 1.
    pub line: u64,
    /// Identity of the visit, if it could be read.
    pub visit_id: Option<String>,
    /// Revision, if it could be read.
    pub revision: Option<u32>,
    /// Pseudonym of the scout, if it could be read.
    pub observer_id: Option<String>,
    /// Why it is held, at least one.
    pub findings: Vec<Finding>,
    /// SHA-256 of the record as sent.
    pub record_sha256: [u8; 32],
    /// The record, byte for byte.
    pub record: Bytes,
    /// The held record that it was sent to mend.
    pub mends: Option<HeldId>,
}

/// What every row of one load bears.
#[derive(Debug, Clone)]
pub struct LoadMark {
    /// Identity of the load attempt.
    pub load_id: String,
    /// SHA-256 of the submission, hexadecimal.
    pub submission_sha256: String,
    /// Name of the submission's file.
    pub file_name: String,
}

/// Rows of `visits`.
pub fn visits_batch(rows: &[VisitRow], mark: &LoadMark) -> RecordBatch {
    let text = |of: &dyn Fn(&VisitRow) -> &str| -> ArrayRef {
        Arc::new(StringArray::from_iter_values(rows.iter().map(of)))
    };
    let own_text = |of: &dyn Fn(&VisitRow) -> String| -> ArrayRef {
        Arc::new(StringArray::from_iter_values(rows.iter().map(of)))
    };
    let optional_text = |of: &dyn Fn(&VisitRow) -> Option<&str>| -> ArrayRef {
        Arc::new(rows.iter().map(of).collect::<StringArray>())
    };
    let own_optional_text = |of: &dyn Fn(&VisitRow) -> Option<String>| -> ArrayRef {
        Arc::new(rows.iter().map(of).collect::<StringArray>())
    };
    let whole = |of: &dyn Fn(&VisitRow) -> i32| -> ArrayRef {
        Arc::new(Int32Array::from_iter_values(rows.iter().map(of)))
    };
    let long = |of: &dyn Fn(&VisitRow) -> i64| -> ArrayRef {
        Arc::new(Int64Array::from_iter_values(rows.iter().map(of)))
    };
    let number = |of: &dyn Fn(&VisitRow) -> f64| -> ArrayRef {
        Arc::new(Float64Array::from_iter_values(rows.iter().map(of)))
    };
    let optional_number = |of: &dyn Fn(&VisitRow) -> Option<f64>| -> ArrayRef {
        Arc::new(rows.iter().map(of).collect::<Float64Array>())
    };
    let columns = vec![
        repeated(&mark.load_id, rows.len()),
        repeated(&mark.submission_sha256, rows.len()),
        long(&|row| row.line as i64),
        text(&|row| &row.visit.visit_id),
        whole(&|row| row.visit.revision as i32),
        Arc::new(BooleanArray::from_iter(
            rows.iter()
                .map(|row| Some(row.visit.retracted.unwrap_or(false))),
        )),
        Arc::new(Date32Array::from_iter_values(
            rows.iter().map(|row| days(row.observed_on)),
        )),
        own_text(&|row| row.week.to_string()),
        moments(rows.iter().map(|row| row.submitted_at)),
        text(&|row| &row.visit.observer_id),
        text(&|row| &row.visit.field.field_id),
        optional_text(&|row| row.visit.field.farm_id.as_deref()),
        number(&|row| row.visit.field.lon),
        number(&|row| row.visit.field.lat),
        text(&|row| &row.county_id),
        optional_text(&|row| row.visit.field.county_id.as_deref()),
        number(&|row| row.visit.field.area_ha),
        own_optional_text(&|row| {
            row.visit
                .field
                .outline
                .as_ref()
                .and_then(|outline| serde_json::to_string(outline).ok())
        }),
        text(&|row| &row.visit.field.crop_type),
        text(&|row| &row.visit.protocol),
        own_text(&|row| row.stage.to_string()),
        text(&|row| &row.visit.crop_stage),
        whole(&|row| row.stage.first_place()),
        whole(&|row| row.stage.last_place()),
        optional_number(&|row| Some(row.visit.economics.treatment_cost.as_ref()?.amount)),
        optional_text(&|row| Some(row.visit.economics.treatment_cost.as_ref()?.per.name())),
        optional_text(&|row| Some(row.economics.treatment_cost.as_ref()?.currency.as_str())),
        optional_number(&|row| Some(row.economics.treatment_cost.as_ref()?.per_ha())),
        optional_number(&|row| Some(row.visit.economics.market_value.as_ref()?.amount)),
        optional_text(&|row| Some(row.visit.economics.market_value.as_ref()?.per.name())),
        optional_text(&|row| Some(row.economics.market_value.as_ref()?.currency.as_str())),
        optional_number(&|row| Some(row.economics.market_value.as_ref()?.per_kg())),
        optional_number(&|row| Some(row.visit.economics.plant_population.as_ref()?.count)),
        optional_text(&|row| Some(row.visit.economics.plant_population.as_ref()?.per.name())),
        optional_number(&|row| Some(row.economics.plant_population.as_ref()?.per_ha())),
        own_optional_text(&|row| {
            let names: Vec<&str> = row.assumed.iter().map(|member| member.name()).collect();
            (!names.is_empty()).then(|| names.join(" "))
        }),
        text(&|row| row.visit.count_form().map_or("", |form| form.member())),
        whole(&|row| row.statistics.sites as i32),
        whole(&|row| row.statistics.units as i32),
        long(&|row| row.statistics.total as i64),
        number(&|row| row.statistics.field_mean),
        optional_number(&|row| row.statistics.variance_between_sites),
        optional_number(&|row| row.statistics.variance_within_sites),
        optional_number(&|row| row.statistics.standard_error),
        own_optional_text(&|row| (!row.flags.is_empty()).then(|| row.flags.join(" "))),
        optional_text(&|row| row.visit.remarks.as_deref()),
        Arc::new(BinaryArray::from_iter_values(
            rows.iter().map(|row| row.content_sha256),
        )),
        whole(&|row| row.week.season()),
    ];
    batch(Kept::Visits, columns)
}

/// Rows of `units`: every unit of every visit, in order. There are 30 of a visit, so each is looked at once.
pub fn units_batch(rows: &[VisitRow], mark: &LoadMark) -> RecordBatch {
    let units = rows.iter().map(|row| row.statistics.units as usize).sum();
    let ids = rows
        .iter()
        .map(|row| row.visit.visit_id.len() * row.statistics.units as usize)
        .sum();
    let mut columns = UnitColumns::with_room(units, ids);
    for row in rows {
        for site in &row.visit.sites {
            for (number, unit) in (1..).zip(site.units()) {
                columns.add(row, site, number, &unit);
            }
        }
    }
    columns.into_batch(&mark.load_id)
}

/// Rows of `held`.
pub fn held_batch(rows: &[HeldRow], mark: &LoadMark) -> RecordBatch {
    let columns: Vec<ArrayRef> = vec![
        repeated(&mark.load_id, rows.len()),
        repeated(&mark.submission_sha256, rows.len()),
        repeated(&mark.file_name, rows.len()),
        Arc::new(Int64Array::from_iter_values(
            rows.iter().map(|row| row.line as i64),
        )),
        Arc::new(
            rows.iter()
                .map(|row| row.visit_id.as_deref())
                .collect::<StringArray>(),
        ),
        Arc::new(
            rows.iter()
                .map(|row| row.revision.map(|r| r as i32))
                .collect::<Int32Array>(),
        ),
        Arc::new(
            rows.iter()
                .map(|row| row.observer_id.as_deref())
                .collect::<StringArray>(),
        ),
        Arc::new(StringArray::from_iter_values(rows.iter().map(|row| {
            serde_json::to_string(&row.findings).expect("findings are plain text")
        }))),
        Arc::new(BinaryArray::from_iter_values(
            rows.iter().map(|row| row.record_sha256),
        )),
        records(rows),
    ];
    batch(Kept::Held, columns)
}

/// The records byte for byte, in one piece of the right size: one of them may fill 100 MB.
fn records(rows: &[HeldRow]) -> ArrayRef {
    let bytes = rows.iter().map(|row| row.record.len()).sum();
    let mut records = BinaryBuilder::with_capacity(rows.len(), bytes);
    for row in rows {
        records.append_value(&row.record);
    }
    Arc::new(records.finish())
}

/// The one row of a receipt.
pub fn receipt_batch(receipt: &Receipt) -> RecordBatch {
    let text = |value: &str| repeated(value, 1);
    let count = |value: u64| -> ArrayRef { Arc::new(Int64Array::from(vec![value as i64])) };
    let (submission, counts) = (receipt.submission(), receipt.counts());
    let columns = vec![
        text(receipt.load_id()),
        text(&submission.sha256),
        text(&submission.file_name),
        text(&submission.form),
        count(submission.bytes),
        moments([submission.received_at].into_iter()),
        count(counts.received),
        count(counts.accepted),
        count(counts.duplicate),
        count(counts.held),
        count(counts.held_before),
        count(counts.units),
        count(counts.flagged),
        count(counts.closed),
        text(env!("CARGO_PKG_VERSION")),
    ];
    batch(Kept::Receipts, columns)
}

/// The columns of `units`, being filled.
struct UnitColumns {
    visit_id: StringBuilder,
    revision: Vec<i32>,
    site: Vec<i32>,
    side: StringBuilder,
    lon: Float64Builder,
    lat: Float64Builder,
    unit: Vec<i32>,
    total: Vec<i64>,
    counts: Vec<i32>,
    counts_ends: Vec<i32>,
    nights: Int32Builder,
    season: Vec<i32>,
}

impl UnitColumns {
    fn with_room(units: usize, bytes_of_ids: usize) -> UnitColumns {
        let mut counts_ends = Vec::with_capacity(units + 1);
        counts_ends.push(0);
        UnitColumns {
            visit_id: StringBuilder::with_capacity(units, bytes_of_ids),
            revision: Vec::with_capacity(units),
            site: Vec::with_capacity(units),
            side: StringBuilder::with_capacity(units, units),
            lon: Float64Builder::with_capacity(units),
            lat: Float64Builder::with_capacity(units),
            unit: Vec::with_capacity(units),
            total: Vec::with_capacity(units),
            counts: Vec::with_capacity(units * 6),
            counts_ends,
            nights: Int32Builder::with_capacity(units),
            season: Vec::with_capacity(units),
        }
    }

    fn add(&mut self, row: &VisitRow, site: &Site, number: i32, unit: &Unit<'_>) {
        self.visit_id.append_value(&row.visit.visit_id);
        self.revision.push(row.visit.revision as i32);
        self.site.push(site.site as i32);
        self.side.append_option(site.side.as_deref());
        self.lon.append_option(site.lon);
        self.lat.append_option(site.lat);
        self.unit.push(number);
        self.total.push(unit.total() as i64);
        self.counts
            .extend(unit.counts.iter().map(|count| count.0 as i32));
        // A batch is some thousand visits, each of at most 1 MiB of text.
        let end = i32::try_from(self.counts.len());
        self.counts_ends
            .push(end.expect("a batch has fewer than two billion counts"));
        self.nights
            .append_option(unit.nights.map(|nights| nights as i32));
        self.season.push(row.week.season());
    }

    fn into_batch(mut self, load_id: &str) -> RecordBatch {
        let whole = |values: Vec<i32>| -> ArrayRef { Arc::new(Int32Array::from(values)) };
        let counts = ListArray::new(
            Arc::new(Field::new("element", DataType::Int32, true)),
            OffsetBuffer::new(self.counts_ends.into()),
            whole(self.counts),
            None,
        );
        let columns: Vec<ArrayRef> = vec![
            repeated(load_id, self.revision.len()),
            Arc::new(self.visit_id.finish()),
            whole(self.revision),
            whole(self.site),
            Arc::new(self.side.finish()),
            Arc::new(self.lon.finish()),
            Arc::new(self.lat.finish()),
            whole(self.unit),
            Arc::new(Int64Array::from(self.total)),
            Arc::new(counts),
            Arc::new(self.nights.finish()),
            whole(self.season),
        ];
        batch(Kept::Units, columns)
    }
}

pub(super) fn batch(kept: Kept, columns: Vec<ArrayRef>) -> RecordBatch {
    RecordBatch::try_new(arrow_schema(kept.columns()), columns)
        .expect("the columns are those of the table's schema")
}

pub(super) fn repeated(value: &str, rows: usize) -> ArrayRef {
    let mut texts = StringBuilder::with_capacity(rows, rows * value.len());
    for _ in 0..rows {
        texts.append_value(value);
    }
    Arc::new(texts.finish())
}

pub(super) fn moments(values: impl Iterator<Item = Timestamp>) -> ArrayRef {
    let values = values.map(|moment| moment.as_microsecond());
    Arc::new(TimestampMicrosecondArray::from_iter_values(values).with_timezone("UTC"))
}

/// Days since 1970-01-01, as Arrow keeps a date.
fn days(day: Date) -> i32 {
    (day - date(1970, 1, 1)).get_days()
}
