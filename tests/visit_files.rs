//! Visits as files of our own schema: a line of JSON each, or the rows of a Parquet file, nested like the schema.
//!
//! `load` takes both back as they are. Visits as tables of cells are [`crate::shared::table_files`]'s to write.

use std::sync::Arc;

use arrow::datatypes::{DataType, Field, Fields, Schema, SchemaRef};
use datafusion::arrow::json::ReaderBuilder;
use parquet::arrow::ArrowWriter;
use parquet::basic::{Compression, ZstdLevel};
use parquet::file::properties::WriterProperties;

use scouting::failure::{Failure, Kind};
use scouting::visit::record::Visit;

/// Visits that become one batch of rows.
const BATCH_VISITS: usize = 1_024;

/// Visits as NDJSON.
///
/// # Errors
/// If the library cannot write one.
pub fn visits_ndjson(visits: &[Visit]) -> Result<Vec<u8>, Failure> {
    let mut lines = Vec::new();
    for visit in visits {
        serde_json::to_writer(&mut lines, visit).map_err(|error| unmade(&error))?;
        lines.push(b'\n');
    }
    Ok(lines)
}

/// Visits as a Parquet file with the members of the schema, `sites` as a list.
///
/// # Errors
/// If the library cannot write it.
pub fn visits_parquet(visits: &[Visit]) -> Result<Vec<u8>, Failure> {
    let schema = visit_schema();
    let zstd = Compression::ZSTD(ZstdLevel::default());
    let properties = WriterProperties::builder().set_compression(zstd).build();
    let mut writer = ArrowWriter::try_new(Vec::new(), schema.clone(), Some(properties))
        .map_err(|error| unmade(&error))?;
    for visits in visits.chunks(BATCH_VISITS) {
        let mut decoder = ReaderBuilder::new(schema.clone())
            .with_batch_size(BATCH_VISITS)
            .with_strict_mode(true)
            .build_decoder()
            .map_err(|error| unmade(&error))?;
        decoder.serialize(visits).map_err(|error| unmade(&error))?;
        if let Some(batch) = decoder.flush().map_err(|error| unmade(&error))? {
            writer.write(&batch).map_err(|error| unmade(&error))?;
        }
    }
    writer.into_inner().map_err(|error| unmade(&error))
}

/// The columns: those of `schemas/visit.schema.json`, and as deep.
pub fn visit_schema() -> SchemaRef {
    use DataType::{Boolean, Float64, UInt32, Utf8};
    let must = |name: &str, kind: DataType| Field::new(name, kind, false);
    let may = |name: &str, kind: DataType| Field::new(name, kind, true);
    let object = |members: Vec<Field>| DataType::Struct(Fields::from(members));
    let list = |item: DataType| DataType::List(Arc::new(Field::new("element", item, false)));
    let price = || {
        object(vec![
            must("amount", Float64),
            must("per", Utf8),
            must("currency", Utf8),
        ])
    };
    let field = object(vec![
        must("field_id", Utf8),
        must("lon", Float64),
        must("lat", Float64),
        must("area_ha", Float64),
        must("crop_type", Utf8),
        may("farm_id", Utf8),
        may("county_id", Utf8),
        may(
            "outline",
            object(vec![
                must("type", Utf8),
                must("coordinates", list(list(list(Float64)))),
            ]),
        ),
    ]);
    let site = object(vec![
        must("site", UInt32),
        may("side", Utf8),
        may("lon", Float64),
        may("lat", Float64),
        may("heads", list(list(UInt32))),
        may("plants", list(UInt32)),
        may(
            "traps",
            list(object(vec![must("catch", UInt32), must("nights", UInt32)])),
        ),
    ]);
    let economics = object(vec![
        may("treatment_cost", price()),
        may("market_value", price()),
        may(
            "plant_population",
            object(vec![must("count", Float64), must("per", Utf8)]),
        ),
    ]);
    Arc::new(Schema::new(vec![
        must("schema_version", Utf8),
        must("visit_id", Utf8),
        must("revision", UInt32),
        must("observed_on", Utf8),
        must("submitted_at", Utf8),
        must("observer_id", Utf8),
        must("field", field),
        must("protocol", Utf8),
        must("crop_stage", Utf8),
        may("treated_on", Utf8),
        may("treatment", Utf8),
        may("economics", economics),
        must("sites", list(site)),
        may("remarks", Utf8),
        may("retracted", Boolean),
    ]))
}

fn unmade(error: &dyn std::fmt::Display) -> Failure {
    Failure::new(Kind::Publish, format!("cannot write the visits: {error}"))
}
