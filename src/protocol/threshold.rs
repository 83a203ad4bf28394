//! The threshold of each visit, from the protocols' SQL expressions.
//!
//! The statement made here is the only generated SQL of the program. It reads the canonical
//! columns of `current_visit` and nothing else.

use std::sync::Arc;

use arrow::array::{Array, ArrayRef, Float64Array, RecordBatch, StringArray};
use arrow::compute::cast;
use arrow::datatypes::DataType;
use datafusion::prelude::SessionContext;

use super::catalogue::{Catalogue, Check, Protocol};
use crate::failure::{Failure, Kind};
use crate::visit::economics::CompleteEconomics;

/// The SQL of the table `visit_threshold`: the rows of `current_visit` with the threshold of each
/// field, in the unit of its mean; null where the protocol is no longer in the catalogue.
pub fn visit_threshold_sql(catalogue: &Catalogue) -> String {
    let branches: String = catalogue
        .protocols()
        .map(|protocol| {
            format!(
                "        when '{}' then cast({} as double)\n",
                protocol.id.replace('\'', "''"),
                protocol.threshold.expression
            )
        })
        .collect();
    format!("select\n    *,\n    case protocol\n{branches}    end as threshold\nfrom current_visit")
}

/// Runs the worked values of a protocol; the thresholds found, in the order of its checks.
pub async fn worked_values(protocol: &Protocol) -> Result<Vec<f64>, Failure> {
    let mut values = Vec::new();
    for check in &protocol.checks {
        values.push(threshold_of(protocol, &check.given).await?);
    }
    Ok(values)
}

/// Whether a worked value agrees with its source.
pub fn agrees(check: &Check, found: f64) -> bool {
    (found - check.expect).abs() <= check.tolerance
}

/// The threshold of a protocol for one field's economics.
pub async fn threshold_of(
    protocol: &Protocol,
    economics: &CompleteEconomics,
) -> Result<f64, Failure> {
    let refused = |error: datafusion::error::DataFusionError| {
        Failure::new(Kind::Protocol, format!("cannot compute the threshold of {}", protocol.id))
            .at(format!("[threshold] expression: {error}"))
            .mend("use the canonical columns: treatment_cost_per_ha, market_value_per_kg, plants_per_ha, crop_type")
    };
    let session = SessionContext::new();
    let row = canonical_row(protocol, economics)?;
    session.register_batch("field", row).map_err(refused)?;
    let query = format!(
        "select cast({} as double) from field",
        protocol.threshold.expression
    );
    let batches = session
        .sql(&query)
        .await
        .map_err(refused)?
        .collect()
        .await
        .map_err(refused)?;
    first_number(&batches).ok_or_else(|| {
        Failure::new(
            Kind::Protocol,
            format!("the threshold of {} is null", protocol.id),
        )
    })
}

fn canonical_row(
    protocol: &Protocol,
    economics: &CompleteEconomics,
) -> Result<RecordBatch, Failure> {
    let number = |value: f64| Arc::new(Float64Array::from(vec![value])) as ArrayRef;
    let crop_type = protocol.crop_types.first().map_or("", String::as_str);
    RecordBatch::try_from_iter([
        (
            "treatment_cost_per_ha",
            number(economics.treatment_cost.per_ha()),
        ),
        (
            "market_value_per_kg",
            number(economics.market_value.per_kg()),
        ),
        ("plants_per_ha", number(economics.plant_population.per_ha())),
        (
            "crop_type",
            Arc::new(StringArray::from(vec![crop_type])) as ArrayRef,
        ),
    ])
    .map_err(|error| Failure::new(Kind::Protocol, error.to_string()))
}

fn first_number(batches: &[RecordBatch]) -> Option<f64> {
    let column = batches.iter().find(|batch| batch.num_rows() > 0)?.column(0);
    let column = cast(column, &DataType::Float64).ok()?;
    let column = column.as_any().downcast_ref::<Float64Array>()?;
    column.is_valid(0).then(|| column.value(0))
}
