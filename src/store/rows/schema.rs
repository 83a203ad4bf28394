//! The kept tables and the columns of each, with their units.
//!
//! This is the documentation of the Parquet files and the schema that they are written with: one
//! cannot drift from the other. The file is long since it is one list: every column of every table.

use std::sync::Arc;

use arrow::datatypes::{Field, Schema, SchemaRef};

use crate::alerts::alert_columns::ALERTS;
use crate::rows::column::{Column, Holds, may, must};
use crate::rows::receipt_columns::RECEIPTS;

/// One of the kept tables.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Kept {
    Visits,
    Units,
    Held,
    HeldClosed,
    Receipts,
    Alerts,
}

impl Kept {
    /// Every kept table.
    pub const ALL: [Kept; 6] = [
        Kept::Visits,
        Kept::Units,
        Kept::Held,
        Kept::HeldClosed,
        Kept::Receipts,
        Kept::Alerts,
    ];

    /// Name of the table and of its folder.
    pub fn name(self) -> &'static str {
        match self {
            Kept::Visits => "visits",
            Kept::Units => "units",
            Kept::Held => "held",
            Kept::HeldClosed => "held_closed",
            Kept::Receipts => "receipts",
            Kept::Alerts => "alerts",
        }
    }

    /// Its columns.
    pub fn columns(self) -> &'static [Column] {
        match self {
            Kept::Visits => VISITS,
            Kept::Units => UNITS,
            Kept::Held => HELD,
            Kept::HeldClosed => HELD_CLOSED,
            Kept::Receipts => RECEIPTS,
            Kept::Alerts => ALERTS,
        }
    }

    /// The columns that its files are sorted into folders by.
    pub(crate) fn partition_columns(self) -> Vec<String> {
        match self {
            Kept::Visits | Kept::Units => vec!["season".to_owned()],
            Kept::Held | Kept::HeldClosed | Kept::Receipts | Kept::Alerts => Vec::new(),
        }
    }
}

/// One row per visit revision that was accepted.
pub const VISITS: &[Column] = &[
    must(
        "load_id",
        Holds::Text,
        "the load that brought the row; it counts once a receipt names it",
    ),
    must(
        "submission_sha256",
        Holds::Text,
        "SHA-256 of the submission, hexadecimal",
    ),
    must(
        "line",
        Holds::Whole64,
        "line of the submission, or place in its JSON array, from 1",
    ),
    must("visit_id", Holds::Text, "identity of the visit"),
    must(
        "revision",
        Holds::Whole32,
        "1, 2, 3 …; the highest is current",
    ),
    must(
        "retracted",
        Holds::Truth,
        "whether the revision withdraws the visit",
    ),
    must("observed_on", Holds::Day, "visit date"),
    must(
        "iso_week",
        Holds::Text,
        "ISO 8601 week of observed_on, as 2026-W30",
    ),
    must(
        "submitted_at",
        Holds::Moment,
        "when the record was submitted, as its sender says",
    ),
    must("observer_id", Holds::Text, "scout ID"),
    must("field_id", Holds::Text, "field ID"),
    may("farm_id", Holds::Text, "farm ID"),
    must(
        "lon",
        Holds::Number,
        "longitude of the field, degrees, WGS 84",
    ),
    must(
        "lat",
        Holds::Number,
        "latitude of the field, degrees, WGS 84",
    ),
    must(
        "county_id",
        Holds::Text,
        "county of the point, from the region's boundaries",
    ),
    may(
        "county_id_stated",
        Holds::Text,
        "county as the scout stated it",
    ),
    must("area_ha", Holds::Number, "area of the field, hectares"),
    may(
        "outline",
        Holds::Text,
        "outline of the field, GeoJSON Polygon",
    ),
    must("crop_type", Holds::Text, "oilseed, confection …"),
    must("protocol", Holds::Text, "id of the protocol"),
    must(
        "crop_stage",
        Holds::Text,
        "crop stage, in the scale's own writing",
    ),
    must("crop_stage_stated", Holds::Text, "crop stage as submitted"),
    must(
        "stage_first",
        Holds::Whole32,
        "first place of the stage on the common order of stages",
    ),
    must(
        "stage_last",
        Holds::Whole32,
        "last place; differs from stage_first for R5 alone",
    ),
    may(
        "treatment_cost_amount",
        Holds::Number,
        "cost of one treatment as submitted, money; null if it was not given",
    ),
    may("treatment_cost_per", Holds::Text, "acre or ha"),
    may("treatment_cost_currency", Holds::Text, "ISO 4217 code"),
    may(
        "treatment_cost_per_ha",
        Holds::Number,
        "cost of one treatment, money per hectare; null if neither given nor needed",
    ),
    may(
        "market_value_amount",
        Holds::Number,
        "market price as submitted, money; null if it was not given",
    ),
    may("market_value_per", Holds::Text, "lb or kg"),
    may("market_value_currency", Holds::Text, "ISO 4217 code"),
    may(
        "market_value_per_kg",
        Holds::Number,
        "market price, money per kilogram; null if neither given nor needed",
    ),
    may(
        "plant_population_count",
        Holds::Number,
        "plant population as submitted; null if it was not given",
    ),
    may("plant_population_per", Holds::Text, "acre or ha"),
    may(
        "plants_per_ha",
        Holds::Number,
        "plants per hectare; null if neither given nor needed",
    ),
    may(
        "assumed",
        Holds::Text,
        "which of treatment_cost market_value plant_population the workspace's defaults filled in, separated by spaces; null if none",
    ),
    must("count_form", Holds::Text, "heads, plants or traps"),
    must("sites", Holds::Whole32, "sites sampled"),
    must(
        "units",
        Holds::Whole32,
        "units examined: heads, plants or traps",
    ),
    must("total", Holds::Whole64, "all that was counted"),
    must(
        "field_mean",
        Holds::Number,
        "mean of the site means: per head, per plant, or per trap (per night or in total, as the protocol says)",
    ),
    may(
        "variance_between_sites",
        Holds::Number,
        "variance of the site means; null if there is one site",
    ),
    may(
        "variance_within_sites",
        Holds::Number,
        "pooled variance of units about their site mean",
    ),
    may(
        "standard_error",
        Holds::Number,
        "standard error of field_mean; null if there is one site",
    ),
    may(
        "flags",
        Holds::Text,
        "codes of the data quality flags of the record, separated by spaces; null if none",
    ),
    may("remarks", Holds::Text, "remarks of the scout"),
    must(
        "content_sha256",
        Holds::Bytes,
        "SHA-256 of the record in canonical form, 32 bytes",
    ),
    must("season", Holds::Whole32, "ISO week-year of observed_on"),
    may(
        "sender",
        Holds::Text,
        "who sent the record: of a corrected one the sender of its original; null if it is not known",
    ),
    may(
        "revision_sent",
        Holds::Whole32,
        "revision as its sender wrote it, where that number was used up by a load taken back, or by what the record takes the place of; null if it is revision",
    ),
    may(
        "point_from",
        Holds::Text,
        "county where only the county of the field is known: lon and lat are then a point inside that county; null where they are the record's own",
    ),
    may(
        "treated_on",
        Holds::Day,
        "day of the latest treatment of the field before the visit, as stated; null if it was not given",
    ),
    may(
        "treatment",
        Holds::Text,
        "kind of that treatment: none, insecticide or other; null if it was not given",
    ),
];

/// One row per unit of an accepted visit: the raw counts.
pub(crate) const UNITS: &[Column] = &[
    must("load_id", Holds::Text, "the load that brought the row"),
    must("visit_id", Holds::Text, "identity of the visit"),
    must("revision", Holds::Whole32, "revision of the visit"),
    must(
        "site",
        Holds::Whole32,
        "number of the site within the visit",
    ),
    may("side", Holds::Text, "side of the field"),
    may(
        "site_lon",
        Holds::Number,
        "longitude of the site, degrees, WGS 84",
    ),
    may(
        "site_lat",
        Holds::Number,
        "latitude of the site, degrees, WGS 84",
    ),
    must(
        "unit",
        Holds::Whole32,
        "number of the unit within the site, from 1",
    ),
    must("total", Holds::Whole64, "sum of the unit's counts"),
    must(
        "counts",
        Holds::Wholes,
        "the counts within the unit, in order: six bracts, or one number",
    ),
    may("nights", Holds::Whole32, "trap-nights of the catch"),
    must("season", Holds::Whole32, "ISO week-year of observed_on"),
];

/// One row per record that could not be accepted.
pub(crate) const HELD: &[Column] = &[
    must("load_id", Holds::Text, "the load that brought the row"),
    must(
        "submission_sha256",
        Holds::Text,
        "SHA-256 of the submission, hexadecimal",
    ),
    must(
        "file_name",
        Holds::Text,
        "name of the submission's file, without its folder",
    ),
    must(
        "line",
        Holds::Whole64,
        "line of the submission, or place in its JSON array, from 1",
    ),
    may(
        "visit_id",
        Holds::Text,
        "identity of the visit, if it could be read",
    ),
    may("revision", Holds::Whole32, "revision, if it could be read"),
    may("observer_id", Holds::Text, "scout ID, if it could be read"),
    must(
        "reasons",
        Holds::Text,
        "JSON array of findings: code, pointer, found, expected",
    ),
    must(
        "record_sha256",
        Holds::Bytes,
        "SHA-256 of the record as sent, 32 bytes",
    ),
    must(
        "record",
        Holds::Bytes,
        "the record, byte for byte as sent; of rows of a table JSON: the rows as sent, and what was read of them",
    ),
    may(
        "sender",
        Holds::Text,
        "who sent the record: of a corrected one the sender of its original; null if it is not known",
    ),
];

/// One row a held record that is closed: append-only, so a record is open while none names it.
///
/// Rows of a load count with its receipt; rows of a drop (`how` = dropped) or of its taking back (`how` = restored)
/// count as they are.
pub const HELD_CLOSED: &[Column] = &[
    must(
        "load_id",
        Holds::Text,
        "the load that closed the record, or the id of the drop",
    ),
    must(
        "record_sha256",
        Holds::Bytes,
        "SHA-256 of the held record as sent, 32 bytes",
    ),
    must(
        "submission_sha256",
        Holds::Text,
        "SHA-256 of the submission that the held record came in, hexadecimal",
    ),
    must("line", Holds::Whole64, "line of the held record there"),
    must(
        "how",
        Holds::Text,
        "corrected (mended in rows of earlier versions), replaced (an attempt to correct it is held in its place), dropped, restored (the drop is taken back: open again) or undone (its load was taken back)",
    ),
    may(
        "visit_id",
        Holds::Text,
        "of a corrected one: identity of the visit that replaces it",
    ),
    may(
        "revision",
        Holds::Whole32,
        "of a corrected one: revision of that visit",
    ),
    may(
        "replaced_by",
        Holds::Text,
        "of a replaced one: id of the held record that replaces it",
    ),
    may(
        "reason",
        Holds::Text,
        "of one that was dropped, restored or undone: why",
    ),
    may(
        "who",
        Holds::Text,
        "of one that was dropped, restored or undone: who decided",
    ),
    must("closed_at", Holds::Moment, "when it was closed"),
];

/// The Arrow schema of a table, with the description of each column in its metadata.
pub(crate) fn arrow_schema(columns: &[Column]) -> SchemaRef {
    let fields = columns.iter().map(|column| {
        let metadata = [("comment".to_owned(), column.description.to_owned())];
        Field::new(column.name, column.holds.arrow(), column.nullable)
            .with_metadata(metadata.into())
    });
    Arc::new(Schema::new(fields.collect::<Vec<_>>()))
}
