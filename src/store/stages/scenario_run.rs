//! The roll-up under other economics: the visits of a version of the store with the amounts of a scenario in place
//! of their own, next to the roll-up as recorded. The stages in `pipeline/scenario` put the two together.
//!
//! What comes out is a [`ScenarioRollup`], no [`crate::stages::rollup::Rollup`]: alerts, maps and the comparison of seasons
//! take the latter, so none of them can be made of a scenario.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use arrow::array::{AsArray, BooleanArray, Float64Array, RecordBatch, StringArray};
use arrow::compute::filter_record_batch;
use arrow::datatypes::Float64Type;

use crate::delta::snapshot::Snapshot;
use crate::stages::engine::{Engine, register};
use crate::stages::expression::saved_kg_per_ha;
use crate::stages::files::scenario_stages;
use crate::stages::inputs::{Setting, table_of};
use crate::stages::rollup::StageTable;
use crate::stages::run::{roll_up, roll_up_as};
use crate::stages::run_stage::run_stage;
use crate::stages::scenario::Scenario;
use crate::stages::stage_rows::whole_table;
use crate::stages::wanted::Wanted;
use scouting::failure::{Cause, Failure, Kind};
use scouting::protocol::catalogue::Catalogue;

/// A roll-up under a scenario. All of it is private.
#[derive(Debug, Clone)]
pub struct ScenarioRollup {
    /// The store version that it was made from.
    pub store_version: i64,
    /// Visits that are left out, since their protocol gives them no threshold.
    pub visits_without_threshold: u64,
    /// A field, week and protocol a row.
    pub field_week: StageTable,
    /// A county, week and protocol a row, small groups included.
    pub county_week: StageTable,
    /// Protocols of the visits, by id.
    pub protocols: Vec<String>,
}

/// Rolls a version of the store up as recorded and under a scenario. The two snapshots are of the same version:
/// each roll-up leaves its tables in a session of its own.
///
/// # Errors
/// A [`Failure`] if the scenario leaves what a protocol calls plausible, or mixes currencies, or a stage fails.
pub async fn roll_up_scenario(
    recorded: &Snapshot,
    changed: &Snapshot,
    catalogue: &Catalogue,
    setting: &Setting,
    scenario: &Scenario,
) -> Result<ScenarioRollup, Failure> {
    assert_eq!(
        recorded.version(),
        changed.version(),
        "both roll-ups are of one version of the store"
    );
    let as_recorded = roll_up(recorded, None, catalogue, setting).await?;
    let wanted = Wanted {
        scenario: Some(scenario),
        ..Wanted::default()
    };
    let session = changed.session();
    let engine = Engine::here(session);
    let under = roll_up_as(changed, engine, catalogue, setting, wanted).await?;
    for (name, table) in [
        ("recorded_field_week", as_recorded.field_week()),
        ("recorded_county_week", as_recorded.county_week_full()),
        ("changed_field_week", under.field_week()),
        ("changed_county_week", under.county_week_full()),
    ] {
        let batch = table.batch.clone();
        register(session, name, batch.schema(), vec![vec![batch]])?;
    }
    let mut tables = BTreeMap::new();
    for stage in scenario_stages()? {
        // Those of the visits were needed earlier.
        if stage.table == "visit_currency" {
            continue;
        }
        let parts = run_stage(engine, &stage).await?;
        let batch = whole_table(&stage, &parts)?;
        if stage.table == "field_amount" {
            let saved = field_saved(&batch, catalogue)?;
            register(session, "field_saved", saved.schema(), vec![vec![saved]])?;
        }
        tables.insert(stage.table.clone(), StageTable { stage, batch });
    }
    let mut finished = |name: &str| {
        let table = tables.remove(name);
        table.ok_or_else(|| Failure::new(Kind::Stage, format!("no stage makes {name}")))
    };
    Ok(ScenarioRollup {
        store_version: changed.version(),
        visits_without_threshold: under.visits_without_threshold,
        field_week: finished("scenario_field_week")?,
        county_week: finished("scenario_county_week")?,
        protocols: protocols_of(&under.field_week().batch),
    })
}

/// The crop saved in the fields whose protocol says how much: `visit_id`, `saved_kg_per_ha`.
fn field_saved(amounts: &RecordBatch, catalogue: &Catalogue) -> Result<RecordBatch, Failure> {
    let protocols = amounts["protocol"].as_string::<i32>();
    let in_window = amounts["in_window"].as_boolean();
    let treated = amounts["after_treatment"].as_boolean();
    let mut visits: Vec<String> = Vec::new();
    let mut saved: Vec<Option<f64>> = Vec::new();
    for id in protocols_of(amounts) {
        let Some(protocol) = catalogue.protocol(&id) else {
            continue;
        };
        let of_protocol: BooleanArray = (0..amounts.num_rows())
            .map(|row| {
                let counts = in_window.value(row) && !treated.value(row);
                Some(protocols.value(row) == id && counts)
            })
            .collect();
        let broken = |cause: Cause| {
            let what = format!("cannot compute the crop saved under {id}");
            Failure::because(Kind::Protocol, what, cause)
                .mend("check [damage] of the protocol's file")
        };
        let rows =
            filter_record_batch(amounts, &of_protocol).map_err(|error| broken(error.into()))?;
        let means = rows["field_mean"].as_primitive::<Float64Type>();
        let Some(kilograms) = saved_kg_per_ha(protocol, &rows, means) else {
            continue;
        };
        saved.extend(kilograms.map_err(|reason| broken(reason.into()))?.iter());
        let ids = rows["visit_id"].as_string::<i32>();
        visits.extend(ids.iter().flatten().map(str::to_owned));
    }
    table_of(vec![
        ("visit_id", Arc::new(StringArray::from(visits))),
        ("saved_kg_per_ha", Arc::new(Float64Array::from(saved))),
    ])
}

fn protocols_of(table: &RecordBatch) -> Vec<String> {
    let ids = table["protocol"].as_string::<i32>();
    let ids: BTreeSet<&str> = ids.iter().flatten().collect();
    ids.into_iter().map(str::to_owned).collect()
}
