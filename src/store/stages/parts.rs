//! A roll-up in parts of some weeks each, and its tables put together: the memory of its stages then depends on the
//! visits of a part, not of the store.

use std::collections::HashMap;

use arrow::array::RecordBatch;

use crate::delta::snapshot::Snapshot;
use crate::delta::week_parts::week_parts;
use crate::stages::engine::{Elsewhere, Engine};
use crate::stages::files::Stage;
use crate::stages::inputs::Setting;
use crate::stages::run::{Rollup, StageTable, roll_up_as};
use crate::stages::stage_rows::whole_table;
use crate::stages::wanted::Wanted;
use scouting::failure::Failure;
use scouting::protocol::catalogue::Catalogue;

/// Rolls a version of the store up with at most so many visits at once, unless a week alone has more. A place elsewhere
/// has all of them, and its own memory.
pub(crate) async fn in_parts(
    snapshot: &Snapshot,
    elsewhere: Option<&dyn Elsewhere>,
    catalogue: &Catalogue,
    setting: &Setting,
    wanted: Wanted<'_>,
    visits_at_once: u64,
) -> Result<Rollup, Failure> {
    let parts = match elsewhere {
        Some(_) => Vec::new(),
        None => week_parts(snapshot, visits_at_once).await?,
    };
    if parts.len() < 2 {
        let engine = Engine::with(snapshot.session(), elsewhere);
        return roll_up_as(snapshot, engine, catalogue, setting, wanted).await;
    }
    let mut visits_without_threshold = 0;
    let mut tables: HashMap<String, (Stage, Vec<RecordBatch>)> = HashMap::new();
    for part in &parts {
        let own = part.of(snapshot).await?;
        let engine = Engine::here(own.session());
        let rolled_up = roll_up_as(&own, engine, catalogue, setting, wanted).await?;
        visits_without_threshold += rolled_up.visits_without_threshold;
        for (name, StageTable { stage, batch }) in rolled_up.tables {
            let table = tables.entry(name).or_insert_with(|| (stage, Vec::new()));
            table.1.push(batch);
        }
    }
    let together = tables.into_iter().map(|(name, (stage, batches))| {
        let batch = whole_table(&stage, &vec![batches])?;
        Ok((name, StageTable { stage, batch }))
    });
    Ok(Rollup {
        store_version: snapshot.version(),
        visits_without_threshold,
        tables: together.collect::<Result<_, Failure>>()?,
    })
}
