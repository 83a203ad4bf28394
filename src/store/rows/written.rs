//! Arrow batches of the rows that a load writes. Each column is put by its name.

use std::sync::Arc;

use arrow::array::{
    ArrayRef, BinaryBuilder, Float64Builder, Int32Array, Int32Builder, Int64Array, ListArray,
    RecordBatch, StringBuilder,
};
use arrow::buffer::OffsetBuffer;
use arrow::datatypes::{DataType, Field};

use crate::rows::receipt::Receipt;
use crate::rows::schema::Kept;
use crate::rows::table_batch::{NamedColumns, TableBatch, repeated};
use scouting::visit::record::{Economics, Site};
use scouting::visit::rows::{HeldRow, VisitRow};
use scouting::visit::sampling::Unit;

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
pub(crate) fn visits_batch(rows: &[VisitRow], mark: &LoadMark) -> RecordBatch {
    let columns = TableBatch::of(Kept::Visits, rows)
        .same("load_id", &mark.load_id)
        .same("submission_sha256", &mark.submission_sha256)
        .long("line", |row| row.line as i64)
        .text("visit_id", |row| &row.visit.visit_id)
        .whole("revision", |row| row.visit.revision as i32)
        .truth("retracted", |row| row.visit.retracted.unwrap_or(false))
        .day("observed_on", |row| row.observed_on)
        .text("iso_week", |row| row.week.to_string())
        .whole("season", |row| row.week.season())
        .moment("submitted_at", |row| row.submitted_at)
        .text("observer_id", |row| &row.visit.observer_id)
        .text("protocol", |row| &row.visit.protocol)
        .text("crop_stage", |row| row.stage.to_string())
        .text("crop_stage_stated", |row| &row.visit.crop_stage)
        .whole("stage_first", |row| row.stage.first_place())
        .whole("stage_last", |row| row.stage.last_place())
        .may_day("treated_on", |row| row.visit.treated_on)
        .may_text("treatment", |row| {
            row.visit.treatment.map(|kind| kind.name())
        })
        .may_text("assumed", |row| {
            joined(row.assumed.iter().map(|member| member.name()))
        })
        .may_text("flags", |row| {
            joined(row.flags.iter().map(|flag| flag.as_str()))
        })
        .may_text("remarks", |row| row.visit.remarks.as_deref())
        .may_text("sender", |row| row.sender.as_deref())
        .may_whole("revision_sent", |row| {
            row.revision_sent.map(|sent| sent as i32)
        })
        .bytes("content_sha256", |row| row.content_sha256);
    with_counts(with_economics(with_field(columns))).finish()
}

fn with_field<'a>(columns: TableBatch<'a, VisitRow>) -> TableBatch<'a, VisitRow> {
    columns
        .text("field_id", |row| &row.visit.field.field_id)
        .may_text("farm_id", |row| row.visit.field.farm_id.as_deref())
        .number("lon", |row| row.point.0)
        .number("lat", |row| row.point.1)
        .may_text("point_from", |row| {
            row.visit.field.point().is_none().then_some("county")
        })
        .text("county_id", |row| &row.county_id)
        .may_text("county_id_stated", |row| {
            row.visit.field.county_id.as_deref()
        })
        .number("area_ha", |row| row.visit.field.area_ha)
        .may_text("outline", |row| {
            let outline = row.visit.field.outline.as_ref()?;
            serde_json::to_string(outline).ok()
        })
        .text("crop_type", |row| &row.visit.field.crop_type)
}

/// Amounts as they were sent, and what the threshold is made of, with what was filled in.
fn with_economics<'a>(columns: TableBatch<'a, VisitRow>) -> TableBatch<'a, VisitRow> {
    fn sent(row: &VisitRow) -> &Economics {
        &row.visit.economics
    }
    columns
        .may_number("treatment_cost_amount", |row| {
            Some(sent(row).treatment_cost.as_ref()?.amount)
        })
        .may_text("treatment_cost_per", |row| {
            Some(sent(row).treatment_cost.as_ref()?.per.name())
        })
        .may_text("treatment_cost_currency", |row| {
            Some(&row.economics.treatment_cost.as_ref()?.currency)
        })
        .may_number("treatment_cost_per_ha", |row| {
            Some(row.economics.treatment_cost.as_ref()?.per_ha())
        })
        .may_number("market_value_amount", |row| {
            Some(sent(row).market_value.as_ref()?.amount)
        })
        .may_text("market_value_per", |row| {
            Some(sent(row).market_value.as_ref()?.per.name())
        })
        .may_text("market_value_currency", |row| {
            Some(&row.economics.market_value.as_ref()?.currency)
        })
        .may_number("market_value_per_kg", |row| {
            Some(row.economics.market_value.as_ref()?.per_kg())
        })
        .may_number("plant_population_count", |row| {
            Some(sent(row).plant_population.as_ref()?.count)
        })
        .may_text("plant_population_per", |row| {
            Some(sent(row).plant_population.as_ref()?.per.name())
        })
        .may_number("plants_per_ha", |row| {
            Some(row.economics.plant_population.as_ref()?.per_ha())
        })
}

fn with_counts<'a>(columns: TableBatch<'a, VisitRow>) -> TableBatch<'a, VisitRow> {
    columns
        .text("count_form", |row| {
            row.visit.count_form().map_or("", |form| form.member())
        })
        .whole("sites", |row| row.statistics.sites as i32)
        .whole("units", |row| row.statistics.units as i32)
        .long("total", |row| row.statistics.total as i64)
        .number("field_mean", |row| row.statistics.field_mean)
        .may_number("variance_between_sites", |row| {
            row.statistics.variance_between_sites
        })
        .may_number("variance_within_sites", |row| {
            row.statistics.variance_within_sites
        })
        .may_number("standard_error", |row| row.statistics.standard_error)
}

/// Words with a space between them; none of no words.
fn joined<'a>(words: impl Iterator<Item = &'a str>) -> Option<String> {
    let words: Vec<&str> = words.collect();
    (!words.is_empty()).then(|| words.join(" "))
}

/// Rows of `units`: every unit of every visit, in order. There are 30 of a visit, so each is looked at once.
pub(crate) fn units_batch(rows: &[VisitRow], mark: &LoadMark) -> RecordBatch {
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
pub(crate) fn held_batch(rows: &[HeldRow], mark: &LoadMark) -> RecordBatch {
    TableBatch::of(Kept::Held, rows)
        .same("load_id", &mark.load_id)
        .same("submission_sha256", &mark.submission_sha256)
        .same("file_name", &mark.file_name)
        .long("line", |row| row.line as i64)
        .may_text("visit_id", |row| row.visit_id.as_deref())
        .may_whole("revision", |row| row.revision.map(|r| r as i32))
        .may_text("observer_id", |row| row.observer_id.as_deref())
        .text("reasons", |row| {
            serde_json::to_string(&row.findings).expect("findings are plain text")
        })
        .bytes("record_sha256", |row| row.record_sha256)
        .put("record", records(rows))
        .may_text("sender", |row| row.sender.as_deref())
        .finish()
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
pub(crate) fn receipt_batch(receipt: &Receipt) -> RecordBatch {
    let (submission, counts) = (receipt.submission(), receipt.counts());
    let origin = &submission.origin;
    TableBatch::of(Kept::Receipts, &[()])
        .same("load_id", receipt.load_id())
        .same("submission_sha256", &submission.sha256)
        .same("file_name", &submission.file_name)
        .same("form", &submission.form)
        .long("bytes", |()| submission.bytes as i64)
        .moment("received_at", |()| submission.received_at)
        .long("received", |()| counts.received as i64)
        .long("accepted", |()| counts.accepted as i64)
        .long("duplicate", |()| counts.duplicate as i64)
        .long("held", |()| counts.held as i64)
        .long("held_before", |()| counts.held_before as i64)
        .long("units", |()| counts.units as i64)
        .long("flagged", |()| counts.flagged as i64)
        .long("closed", |()| counts.closed as i64)
        .same("version", env!("CARGO_PKG_VERSION"))
        .may_text("sender", |()| origin.sender.as_deref())
        .may_text("undoes", |()| origin.undoes.as_deref())
        .may_text("reason", |()| origin.reason.as_deref())
        .may_text("who", |()| origin.who.as_deref())
        .finish()
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
        let load_ids = repeated(load_id, self.revision.len());
        NamedColumns::of(Kept::Units)
            .put("load_id", load_ids)
            .put("visit_id", Arc::new(self.visit_id.finish()))
            .put("revision", whole(self.revision))
            .put("site", whole(self.site))
            .put("side", Arc::new(self.side.finish()))
            .put("site_lon", Arc::new(self.lon.finish()))
            .put("site_lat", Arc::new(self.lat.finish()))
            .put("unit", whole(self.unit))
            .put("total", Arc::new(Int64Array::from(self.total)))
            .put("counts", Arc::new(counts))
            .put("nights", Arc::new(self.nights.finish()))
            .put("season", whole(self.season))
            .finish()
    }
}
