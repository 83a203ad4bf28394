//! Rolls a version of the store up: every stage in order, over all visits or in parts of some weeks each, whose tables
//! are put together. The memory of the stages then depends on the visits of a part, not of the store.

use std::collections::HashMap;

use arrow::array::RecordBatch;

use crate::delta::snapshot::Snapshot;
use crate::delta::week_parts::{WeekPart, week_parts};
use crate::stages::changed_economics::change_economics;
use crate::stages::computed::seasons::{SeasonFields, Seasons};
use crate::stages::computed::{compute_after, hold_to_steps};
use crate::stages::engine::{Elsewhere, Engine};
use crate::stages::files::{Stage, stages};
use crate::stages::inputs::{Setting, keep_setting};
use crate::stages::rollup::{Rollup, StageTable};
use crate::stages::run_stage::run_stage;
use crate::stages::stage_rows::whole_table;
use crate::stages::wanted::{FINISHED, Wanted};
use scouting::failure::Failure;
use scouting::protocol::catalogue::Catalogue;

/// Rows of visits that are rolled up at once, unless a week alone has more: our choice, some two gigabytes.
const VISITS_AT_ONCE: u64 = 1_500_000;

/// Runs every stage over a version of the store, elsewhere if there is such a place, which has the tables
/// `visits` and `receipts` then.
///
/// # Errors
/// A [`Failure`] if a stage fails.
pub async fn roll_up(
    snapshot: &Snapshot,
    elsewhere: Option<&dyn Elsewhere>,
    catalogue: &Catalogue,
    setting: &Setting,
) -> Result<Rollup, Failure> {
    roll_up_keeping(snapshot, elsewhere, catalogue, setting, &[]).await
}

/// The same, and keeps some of the tables that are dropped otherwise.
///
/// # Errors
/// A [`Failure`] if a stage fails.
pub async fn roll_up_keeping(
    snapshot: &Snapshot,
    elsewhere: Option<&dyn Elsewhere>,
    catalogue: &Catalogue,
    setting: &Setting,
    also: &[&str],
) -> Result<Rollup, Failure> {
    let tables: Vec<&str> = FINISHED.iter().chain(also).copied().collect();
    let wanted = Wanted {
        tables: &tables,
        ..Wanted::default()
    };
    in_parts(
        snapshot,
        elsewhere,
        catalogue,
        setting,
        wanted,
        VISITS_AT_ONCE,
    )
    .await
}

/// The same in this process, with at most so many visits at once, unless a week alone has more: the tables are the
/// same for any number.
///
/// # Errors
/// A [`Failure`] if a stage fails.
pub async fn roll_up_by(
    snapshot: &Snapshot,
    catalogue: &Catalogue,
    setting: &Setting,
    visits_at_once: u64,
) -> Result<Rollup, Failure> {
    let wanted = Wanted::default();
    in_parts(snapshot, None, catalogue, setting, wanted, visits_at_once).await
}

/// Rolls a version of the store up with at most so many visits at once, unless a week alone has more. A place elsewhere
/// has all of them, and its own memory.
async fn in_parts(
    snapshot: &Snapshot,
    elsewhere: Option<&dyn Elsewhere>,
    catalogue: &Catalogue,
    setting: &Setting,
    wanted: Wanted<'_>,
    visits_at_once: u64,
) -> Result<Rollup, Failure> {
    let parts = match elsewhere {
        Some(_) => Vec::new(),
        None => week_parts(snapshot, &setting.weeks, visits_at_once).await?,
    };
    if parts.len() < 2 {
        let engine = Engine::with(snapshot.session(), elsewhere);
        return roll_up_as(snapshot, engine, catalogue, setting, wanted).await;
    }
    let seasons = seasons_of(&parts, snapshot, catalogue, setting, wanted).await?;
    let wanted = Wanted {
        seasons: Some(&seasons),
        ..wanted
    };
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

/// What the reference visits of all parts say of their seasons, from the stages up to them.
async fn seasons_of(
    parts: &[WeekPart],
    snapshot: &Snapshot,
    catalogue: &Catalogue,
    setting: &Setting,
    wanted: Wanted<'_>,
) -> Result<Seasons, Failure> {
    let reference = "standing_visit";
    let wanted = Wanted {
        tables: &[reference],
        ..wanted
    };
    let mut fields = SeasonFields::default();
    for part in parts {
        let own = part.of(snapshot).await?;
        let engine = Engine::here(own.session());
        let rolled_up = roll_up_as(&own, engine, catalogue, setting, wanted).await?;
        fields.add(&rolled_up.tables[reference].batch)?;
    }
    Ok(fields.seasons())
}

/// Runs the stages over the visits of a snapshot as far as it is [`Wanted`]. Under a scenario it is for
/// [`crate::stages::scenario_run`] alone, which lets nobody take what comes out for a finding.
pub(crate) async fn roll_up_as(
    snapshot: &Snapshot,
    engine: Engine<'_>,
    catalogue: &Catalogue,
    setting: &Setting,
    wanted: Wanted<'_>,
) -> Result<Rollup, Failure> {
    keep_setting(engine, catalogue, setting).await?;
    let stages = stages()?;
    hold_to_steps(&stages)?;
    let mut tables = HashMap::new();
    let mut visits_without_threshold = 0;
    for (place, stage) in stages.iter().enumerate() {
        let parts = run_stage(engine, stage).await?;
        if let Some(scenario) = wanted.scenario.filter(|_| stage.table == "current_visit") {
            change_economics(engine.session(), catalogue, scenario).await?;
        }
        if wanted.tables.contains(&stage.table.as_str()) {
            let batch = whole_table(stage, &parts)?;
            let table = StageTable {
                stage: stage.clone(),
                batch,
            };
            tables.insert(stage.table.clone(), table);
        }
        if tables.len() == wanted.tables.len() {
            break;
        }
        visits_without_threshold +=
            compute_after(engine, stage, parts, catalogue, setting, wanted.seasons).await?;
        forget_unread(engine, &stages, place)?;
    }
    Ok(Rollup {
        store_version: snapshot.version(),
        visits_without_threshold,
        tables,
    })
}

/// Frees the tables that no later stage reads.
fn forget_unread(engine: Engine<'_>, stages: &[Stage], place: usize) -> Result<(), Failure> {
    let later = &stages[place + 1..];
    let stage = &stages[place];
    let made_here = |table: &&String| {
        stages.iter().any(|stage| {
            let computed = stage.computed.as_ref();
            stage.table == **table || computed.is_some_and(|one| one.table == **table)
        })
    };
    let done = stage.reads.iter().chain([&stage.table]);
    for table in done.filter(made_here) {
        if !later.iter().any(|stage| stage.reads.contains(table)) {
            engine.forget(table)?;
        }
    }
    Ok(())
}
