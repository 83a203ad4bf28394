//! The protocols as a table: what the counts of a package are of, and by which rule a threshold came about.

use std::sync::Arc;

use arrow::array::{ArrayRef, BooleanArray, Int32Array, RecordBatch, StringArray};
use arrow::datatypes::{DataType, Field, Schema};

use super::package_file::{one_line, unmade};
use super::table::{ExportTable, Places};
use super::taxa::{current_name, life_stage, taxon_id};
use crate::shared::passages::sites_by_area;
use crate::shared::shown_numbers::Units;
use scouting::failure::Failure;
use scouting::protocol::catalogue::Protocol;
use scouting::visit::record::CountForm;
use store::stages::files::StageColumn;

/// Name and meaning of the columns of text, each with what it holds.
type TextColumn = (&'static str, &'static str, fn(&Protocol) -> String);

const TEXTS: [TextColumn; 15] = [
    ("protocol", "id of the protocol", |p| p.id.clone()),
    ("title", "pest and method", |p| p.title.clone()),
    (
        "scientific_name",
        "scientific name of the pest with its author",
        |p| p.scientific_name().to_owned(),
    ),
    (
        "pest",
        "the pest as the protocol's file has it, with synonyms",
        |p| p.pest.clone(),
    ),
    ("crop", "the crop", |p| p.crop.clone()),
    ("counted", "what field_mean counts", |p| p.counted.clone()),
    ("count_form", "heads, plants or traps", |p| {
        p.sample.form.member().to_owned()
    }),
    (
        "window_first",
        "first crop stage at which the count is valid",
        |p| p.stages.first.clone(),
    ),
    ("window_last", "last such stage", |p| p.stages.last.clone()),
    (
        "threshold_kind",
        "economic injury level, economic threshold, action threshold or regional risk class",
        |p| p.threshold.kind.to_string(),
    ),
    (
        "threshold_expression",
        "the threshold as a SQL scalar over treatment_cost_per_ha, market_value_per_kg, plants_per_ha, area_ha, crop_type and crop_stage",
        |p| p.threshold.expression.clone(),
    ),
    ("threshold_formula", "the same in words", |p| {
        p.threshold.formula.clone()
    }),
    ("threshold_source", "where the threshold comes from", |p| {
        p.threshold.source.clone()
    }),
    ("sample_plan", "how a field is sampled", |p| {
        p.sample.plan.clone()
    }),
    ("sample_source", "where the plan comes from", |p| {
        p.sample.source.clone()
    }),
];

/// The same of columns that a protocol may leave out.
const OPTIONAL_TEXTS: [TextColumn; 8] = [
    (
        "zones",
        "zones of a field that are sampled apart, each with the share of the field that it represents; null if there are none",
        |p| p.sample.zones.with_shares(),
    ),
    (
        "recount_at",
        "crop stage at which a field counted earlier in the window is to be counted again; null where none is named",
        |p| p.stages.recount_at.clone().unwrap_or_default(),
    ),
    (
        "treatment_first",
        "first crop stage at which treatment works; null where the protocol names none",
        |p| {
            p.treatment_stages
                .as_ref()
                .map(|stages| stages.first.clone())
                .unwrap_or_default()
        },
    ),
    ("treatment_last", "last such stage", |p| {
        p.treatment_stages
            .as_ref()
            .map(|stages| stages.last.clone())
            .unwrap_or_default()
    }),
    (
        "sites_by_area",
        "sites of a full sample of a larger field; null where every field needs sites_min",
        |p| sites_by_area(p, Units::Metric).unwrap_or_default(),
    ),
    (
        "current_name",
        "scientific name that is current today; null where it is the same, or is not stated",
        current_name,
    ),
    (
        "taxon_id",
        "address of the taxon in an open list of names; null where nobody looked it up",
        taxon_id,
    ),
    (
        "life_stage",
        "life stage that is counted: egg, larva or adult; null where it is not stated",
        life_stage,
    ),
];

type WholeColumn = (&'static str, &'static str, fn(&Protocol) -> Option<i32>);

const WHOLES: [WholeColumn; 5] = [
    (
        "stage_first",
        "first place of the window on the common order of stages",
        |p| p.window().map(|window| window.0),
    ),
    ("stage_last", "last place of the window", |p| {
        p.window().map(|window| window.1)
    }),
    (
        "after_treatment_days",
        "days after a treatment in which counts are left out of pressure",
        |p| Some(i32::from(p.after_treatment_days())),
    ),
    ("sites_min", "sites of a full sample", |p| {
        i32::try_from(p.sample.sites_min).ok()
    }),
    ("units_per_site", "units of a full site", |p| {
        i32::try_from(p.sample.units_per_site).ok()
    }),
];

/// The table `protocol`.
///
/// # Errors
/// A [`Failure`] if the columns do not fit together.
pub(crate) fn protocol_table(protocols: &[&Protocol]) -> Result<ExportTable, Failure> {
    let mut columns = Vec::new();
    let mut arrays: Vec<ArrayRef> = Vec::new();
    let mut add = |name: &str, data_type, nullable, description: &str, array| {
        columns.push(StageColumn {
            name: name.to_owned(),
            data_type,
            nullable,
            unit: None,
            description: description.to_owned(),
        });
        arrays.push(array);
    };
    for (name, description, of) in TEXTS {
        let texts = protocols
            .iter()
            .map(|protocol| Some(one_line(&of(protocol))));
        let texts: ArrayRef = Arc::new(texts.collect::<StringArray>());
        add(name, DataType::Utf8, false, description, texts);
    }
    for (name, description, of) in OPTIONAL_TEXTS {
        let texts = protocols.iter().map(|protocol| of(protocol));
        let texts = texts.map(|text| (!text.is_empty()).then_some(text));
        let texts: ArrayRef = Arc::new(texts.collect::<StringArray>());
        add(name, DataType::Utf8, true, description, texts);
    }
    for (name, description, of) in WHOLES {
        let wholes: ArrayRef = Arc::new(protocols.iter().map(|p| of(p)).collect::<Int32Array>());
        add(name, DataType::Int32, true, description, wholes);
    }
    let by_night = protocols
        .iter()
        .map(|p| (p.sample.form == CountForm::Traps).then_some(p.sample.catch_by_night));
    let by_night: ArrayRef = Arc::new(by_night.collect::<BooleanArray>());
    let description =
        "whether a trap's catch is divided by its trap-nights; null where no traps are counted";
    add(
        "catch_by_night",
        DataType::Boolean,
        true,
        description,
        by_night,
    );
    let fields = columns
        .iter()
        .map(|column| Field::new(&column.name, column.data_type.clone(), column.nullable));
    let schema = Arc::new(Schema::new(fields.collect::<Vec<_>>()));
    Ok(ExportTable {
        name: "protocol",
        title: "The protocols",
        about: "One row per protocol: what was counted, how, and by which rule the threshold came about.",
        batch: RecordBatch::try_new(schema, arrays).map_err(unmade)?,
        columns,
        key: vec!["protocol"],
        references: Vec::new(),
        places: Places::None,
    })
}

/// The names of its columns, for the check of the file.
pub(crate) fn protocol_columns() -> impl Iterator<Item = &'static str> {
    let texts = TEXTS.iter().map(|(name, ..)| *name);
    texts
        .chain(OPTIONAL_TEXTS.iter().map(|(name, ..)| *name))
        .chain(WHOLES.iter().map(|(name, ..)| *name))
        .chain(["catch_by_night"])
}
