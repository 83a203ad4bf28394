//! How often each total of a unit was counted in a visit: the raw counts of the store, gathered by visit.
//!
//! Only the current revision of a visit counts, and only what a receipt names. Reads `units`; what is made
//! of the totals stands in `dispersion.rs`.

use std::collections::HashMap;

use arrow::array::{AsArray, RecordBatch};
use arrow::datatypes::Int64Type;
use datafusion::error::DataFusionError;

use crate::failure::{Failure, Kind};
use crate::statistics::counts::CountFrequencies;
use crate::store::snapshot::Snapshot;

/// Units by total for each visit. A trap that stood some nights is told apart: its catch a night is no count.
const UNITS_BY_TOTAL: &str = "
with newest as (
    select visit_id, max(revision) as revision
    from visits
    where load_id in (select load_id from receipts)
    group by visit_id
)

select
    units.visit_id as visit_id,
    units.total as total,
    count(*) as units,
    count(units.nights) as with_nights
from units
inner join newest on units.visit_id = newest.visit_id and units.revision = newest.revision
where units.load_id in (select load_id from receipts)
group by units.visit_id, units.total";

/// The totals of a visit's units.
#[derive(Debug, Clone, Default)]
pub struct UnitTotals {
    /// Units by total.
    pub counts: CountFrequencies,
    /// Whether any unit is a trap with nights.
    pub with_nights: bool,
}

/// The totals of every visit of the store, by its id.
///
/// # Errors
/// A [`Failure`] if the store cannot be read.
pub async fn unit_totals(snapshot: &Snapshot) -> Result<HashMap<String, UnitTotals>, Failure> {
    let failed = |error: DataFusionError| {
        Failure::new(Kind::Store, format!("cannot read the counts: {error}"))
            .mend("`bractline store verify` names the file that is damaged")
    };
    let frame = snapshot
        .session()
        .sql(UNITS_BY_TOTAL)
        .await
        .map_err(failed)?;
    let batches = frame.collect().await.map_err(failed)?;
    let mut visits: HashMap<String, UnitTotals> = HashMap::new();
    for batch in &batches {
        gather(batch, &mut visits)?;
    }
    Ok(visits)
}

fn gather(batch: &RecordBatch, visits: &mut HashMap<String, UnitTotals>) -> Result<(), Failure> {
    let ids = arrow::compute::cast(&batch["visit_id"], &arrow::datatypes::DataType::Utf8)
        .map_err(|error| Failure::new(Kind::Store, error.to_string()))?;
    let ids = ids.as_string::<i32>();
    let number = |name: &str| batch[name].as_primitive::<Int64Type>();
    let (totals, units, nights) = (number("total"), number("units"), number("with_nights"));
    for row in 0..batch.num_rows() {
        let visit = visits.entry(ids.value(row).to_owned()).or_default();
        // The schema of visits allows no count below 0.
        let total = totals.value(row).unsigned_abs();
        visit.counts.add(total, units.value(row).unsigned_abs());
        visit.with_nights |= nights.value(row) > 0;
    }
    Ok(())
}
