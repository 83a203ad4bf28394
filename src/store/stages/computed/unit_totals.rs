//! How often each total of a unit was counted in a visit: the raw counts of the store, gathered by visit.
//!
//! Only the current revision of a visit counts, and only what a receipt names. Reads `units`; what is made
//! of the totals is in `dispersion.rs`.

use std::collections::HashMap;

use arrow::array::RecordBatch;
use datafusion::error::DataFusionError;
use serde::Deserialize;

use crate::delta::snapshot::Snapshot;
use crate::rows::decode;
use scouting::failure::{Failure, Kind};
use stats::counts::frequencies::CountFrequencies;

/// Units by total for each visit. A trap that was out some nights is kept apart: its catch a night is no count.
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

/// A row of that query. The schema of visits allows no count below 0.
#[derive(Deserialize)]
struct UnitsRow<'a> {
    visit_id: &'a str,
    total: u64,
    units: u64,
    with_nights: u64,
}

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
        Failure::because(Kind::Store, "cannot read the counts", error)
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
    let rows: Vec<UnitsRow<'_>> = decode::rows(batch)
        .map_err(|error| Failure::because(Kind::Store, "cannot read the counts", error))?;
    for row in rows {
        let visit = visits.entry(row.visit_id.to_owned()).or_default();
        visit.counts.add(row.total, row.units);
        visit.with_nights |= row.with_nights > 0;
    }
    Ok(())
}
