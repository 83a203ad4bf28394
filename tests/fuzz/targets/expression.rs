//! Threshold expressions, in a protocol that is otherwise sound: what is accepted stands in the statement of the roll-up,
//! and gives there what it gave when it was tried.

use std::path::Path;
use std::sync::{Arc, LazyLock};

use arrow::array::{ArrayRef, AsArray, Float64Array, RecordBatch, StringArray};
use arrow::datatypes::Float64Type;
use datafusion::prelude::SessionContext;
use scouting::protocol::catalogue::Protocol;
use scouting::protocol::planned::{CANONICAL_COLUMNS, ThresholdField};
use scouting::protocol::threshold::{threshold_of, visit_threshold_sql};
use scouting::visit::economics::EconomicMember;
use scouting::visit::record::Economics;

use super::desk::told;
use super::protocol::{CORNERS, corner_of};

const PROTOCOL: &str = include_str!("../seeds/protocol/guarded.toml");

thread_local! {
    static RUNTIME: tokio::runtime::Runtime = tokio::runtime::Builder::new_current_thread()
        .build()
        .expect("a runtime");
}

/// Looks at one expression.
pub fn look(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let mut file: toml::Table = PROTOCOL.parse().expect("the seed is TOML");
    file["threshold"]["expression"] = text.into();
    let Some(protocol) = told(Protocol::read(
        &file.to_string(),
        Path::new("input.toml"),
        store::stages::expression::plan,
    )) else {
        return;
    };
    let expected = FIELDS.iter().map(|field| {
        let threshold = threshold_of(&protocol, &field.as_seen()).ok();
        assert!(
            field.lacks.is_some() || threshold.is_some_and(|threshold| threshold > 0.0),
            "a threshold of {threshold:?} for {field:?}"
        );
        threshold
    });
    let expected: Vec<Option<f64>> = expected.map(a_number).collect();
    let sql = visit_threshold_sql([&protocol]);
    assert_eq!(thresholds_by(&sql), expected, "{sql}");
}

/// What the statement gives for the fields, by a stock engine.
fn thresholds_by(sql: &str) -> Vec<Option<f64>> {
    let rows = RUNTIME.with(|runtime| {
        runtime.block_on(async {
            let frame = TABLE.sql(sql).await?;
            frame.collect().await
        })
    });
    let rows = rows.unwrap_or_else(|error| panic!("{error}: {sql}"));
    let columns = rows.iter().map(|rows| rows.column_by_name("threshold"));
    columns
        .flat_map(|column| column.expect("a threshold").as_primitive::<Float64Type>())
        .map(a_number)
        .collect()
}

/// What is no number is no threshold either; a field whose economics are lacking may have it.
fn a_number(threshold: Option<f64>) -> Option<f64> {
    threshold.filter(|threshold| !threshold.is_nan())
}

/// A field in a corner of what is plausible.
#[derive(Debug)]
struct Field {
    economics: Economics,
    /// What is not known of them.
    lacks: Option<EconomicMember>,
    area_ha: f64,
    crop_stage: &'static str,
}

impl Field {
    fn as_seen(&self) -> ThresholdField<'_> {
        ThresholdField {
            economics: &self.economics,
            area_ha: self.area_ha,
            crop_type: "oilseed",
            crop_stage: self.crop_stage,
        }
    }
}

static FIELDS: LazyLock<Vec<Field>> = LazyLock::new(|| {
    let protocol = Protocol::read(
        PROTOCOL,
        Path::new("input.toml"),
        store::stages::expression::plan,
    )
    .expect("the seed is sound");
    let lacking = EconomicMember::ALL.map(Some).into_iter().chain([None]);
    let cases = (0..CORNERS).flat_map(|corner| {
        let cases = lacking.clone();
        cases.flat_map(move |lacks| ["R2", "R3"].map(|stage| (corner, lacks, stage)))
    });
    cases
        .map(|(corner, lacks, crop_stage)| {
            let (known, area_ha) = corner_of(&protocol, corner);
            let economics = match lacks {
                Some(member) => known.filled(&[member], &Economics::default()),
                None => known,
            };
            Field {
                economics,
                lacks,
                area_ha,
                crop_stage,
            }
        })
        .collect()
});

/// The fields as rows of `current_visit`.
static TABLE: LazyLock<SessionContext> = LazyLock::new(|| {
    let number = |of: fn(&Field) -> Option<f64>| -> ArrayRef {
        Arc::new(FIELDS.iter().map(of).collect::<Float64Array>())
    };
    let text = |of: fn(&Field) -> &'static str| -> ArrayRef {
        Arc::new(StringArray::from_iter_values(FIELDS.iter().map(of)))
    };
    let columns = [
        number(|field| Some(field.economics.treatment_cost.as_ref()?.per_ha())),
        number(|field| Some(field.economics.market_value.as_ref()?.per_kg())),
        number(|field| Some(field.economics.plant_population.as_ref()?.per_ha())),
        number(|field| Some(field.area_ha)),
        text(|_| "oilseed"),
        text(|field| field.crop_stage),
    ];
    let named = CANONICAL_COLUMNS.into_iter().zip(columns);
    let rows = named.chain([("protocol", text(|_| "input"))]);
    let rows = RecordBatch::try_from_iter_with_nullable(rows.map(|(name, of)| (name, of, true)));
    let context = SessionContext::new();
    context
        .register_batch("current_visit", rows.expect("columns of one length"))
        .expect("an engine without tables");
    context
});
