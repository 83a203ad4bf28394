//! The roll-up under other economics: the visits of a version of the store with the amounts of a scenario in place
//! of their own, next to the roll-up as recorded. The stages in `pipeline/scenario` put the two together.
//!
//! What comes out is a [`ScenarioRollup`], no [`crate::stages::run::Rollup`]: bulletins, maps and the comparison of seasons
//! take the latter, so none of them can be made of a scenario.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use arrow::array::{ArrayRef, AsArray, BooleanArray, Float64Array, RecordBatch, StringArray};
use arrow::compute::filter_record_batch;
use arrow::datatypes::Float64Type;
use datafusion::error::DataFusionError;
use datafusion::prelude::SessionContext;
use serde::Deserialize;

use crate::delta::snapshot::Snapshot;
use crate::rows::decode;
use crate::stages::engine::Engine;
use crate::stages::expression::saved_kg_per_ha;
use crate::stages::files::scenario_stages;
use crate::stages::inputs::{Setting, register, table_of};
use crate::stages::run::{StageTable, roll_up_as, run_stage};
use crate::stages::scenario::{Change, Scenario, column_of, name_of};
use crate::stages::stage_rows::whole_table;
use crate::stages::wanted::{Wanted, roll_up};
use scouting::failure::{Cause, Failure, Kind};
use scouting::protocol::catalogue::{Catalogue, Protocol};
use scouting::visit::economics::EconomicMember;
use scouting::visit::record::{AreaUnit, MarketValue, PlantPopulation, TreatmentCost, WeightUnit};

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

/// Puts the amounts of a scenario into `current_visit`, keeps a copy as `changed_visit`, and registers what the
/// stages of a scenario read in addition.
pub(crate) async fn change_economics(
    session: &SessionContext,
    catalogue: &Catalogue,
    scenario: &Scenario,
) -> Result<(), Failure> {
    let failed = |error: DataFusionError| {
        Failure::because(
            Kind::Stage,
            "cannot change the economics of the visits",
            error,
        )
    };
    let visits = session.table("current_visit").await.map_err(failed)?;
    let schema = Arc::new(visits.schema().as_arrow().clone());
    let partitions = visits.collect_partitioned().await.map_err(failed)?;
    let changed: Result<Vec<Vec<RecordBatch>>, Failure> = partitions
        .iter()
        .map(|batches| {
            batches
                .iter()
                .map(|batch| with_changes(batch, scenario))
                .collect()
        })
        .collect();
    let changed = changed?;
    session.deregister_table("current_visit").map_err(failed)?;
    register(session, "current_visit", schema.clone(), changed.clone())?;
    register(session, "changed_visit", schema, changed)?;
    for stage in scenario_stages()? {
        if stage.table == "visit_currency" {
            run_stage(Engine::here(session), &stage).await?;
        }
    }
    register_words(session, catalogue, scenario)?;
    hold_to_plausible(session, catalogue, scenario).await
}

fn with_changes(batch: &RecordBatch, scenario: &Scenario) -> Result<RecordBatch, Failure> {
    let schema = batch.schema();
    let columns = schema
        .fields()
        .iter()
        .zip(batch.columns())
        .map(|(field, column)| {
            let mut changes = scenario.changes().iter();
            let change = changes.find(|(member, _)| column_of(*member) == field.name());
            change.map_or_else(|| column.clone(), |(_, change)| change.applied(column))
        });
    RecordBatch::try_new(schema.clone(), columns.collect()).map_err(|error| {
        Failure::because(
            Kind::Stage,
            "cannot change the economics of the visits",
            error,
        )
    })
}

/// Registers `scenario`, one row, and `protocol_currency`.
fn register_words(
    session: &SessionContext,
    catalogue: &Catalogue,
    scenario: &Scenario,
) -> Result<(), Failure> {
    let text = |values: Vec<Option<&str>>| Arc::new(StringArray::from(values)) as ArrayRef;
    let said = scenario.to_string();
    let of_all = scenario.currency().filter(|_| scenario.sets_all_money());
    let ids = catalogue.protocols().map(|one| Some(&*one.id)).collect();
    let currencies = catalogue
        .protocols()
        .map(|one| Some(&*one.plausible.currency))
        .collect();
    for (name, columns) in [
        (
            "scenario",
            vec![
                ("scenario", text(vec![Some(&said)])),
                ("currency_of_all", text(vec![of_all])),
            ],
        ),
        (
            "protocol_currency",
            vec![("protocol", text(ids)), ("currency", text(currencies))],
        ),
    ] {
        let batch = table_of(columns)?;
        register(session, name, batch.schema(), vec![vec![batch]])?;
    }
    Ok(())
}

const AMOUNTS: &str = "
select
    changed_visit.protocol as protocol,
    visit_currency.currency as currency,
    count(changed_visit.treatment_cost_per_ha) as costs,
    min(changed_visit.treatment_cost_per_ha) as cost_least,
    max(changed_visit.treatment_cost_per_ha) as cost_most,
    count(changed_visit.market_value_per_kg) as prices,
    min(changed_visit.market_value_per_kg) as price_least,
    max(changed_visit.market_value_per_kg) as price_most,
    count(changed_visit.plants_per_ha) as populations,
    min(changed_visit.plants_per_ha) as population_least,
    max(changed_visit.plants_per_ha) as population_most
from changed_visit
left join visit_currency on changed_visit.visit_id = visit_currency.visit_id
group by changed_visit.protocol, visit_currency.currency
order by protocol, currency";

/// A row of that query.
#[derive(Deserialize)]
struct AmountsRow {
    protocol: String,
    currency: Option<String>,
    costs: i64,
    cost_least: Option<f64>,
    cost_most: Option<f64>,
    prices: i64,
    price_least: Option<f64>,
    price_most: Option<f64>,
    populations: i64,
    population_least: Option<f64>,
    population_most: Option<f64>,
}

impl AmountsRow {
    /// Visits that have the member.
    fn visits(&self, member: EconomicMember) -> i64 {
        match member {
            EconomicMember::TreatmentCost => self.costs,
            EconomicMember::MarketValue => self.prices,
            EconomicMember::PlantPopulation => self.populations,
        }
    }

    /// Least and most of the member; `None` where no visit has it.
    fn ends(&self, member: EconomicMember) -> Option<[f64; 2]> {
        let (least, most) = match member {
            EconomicMember::TreatmentCost => (self.cost_least, self.cost_most),
            EconomicMember::MarketValue => (self.price_least, self.price_most),
            EconomicMember::PlantPopulation => (self.population_least, self.population_most),
        };
        Some([least?, most?])
    }
}

/// A scenario must keep within what the protocols call plausible, where a record has to, and must not mix
/// currencies: a typing error would come out as a finding of its own.
async fn hold_to_plausible(
    session: &SessionContext,
    catalogue: &Catalogue,
    scenario: &Scenario,
) -> Result<(), Failure> {
    let failed = |error: DataFusionError| {
        Failure::because(Kind::Stage, "cannot sum the amounts of the visits", error)
    };
    let frame = session.sql(AMOUNTS).await.map_err(failed)?;
    for batch in frame.collect().await.map_err(failed)? {
        let rows: Vec<AmountsRow> = decode::rows(&batch)
            .map_err(|error| Failure::because(Kind::Stage, "amounts", error))?;
        for row in rows {
            let Some(protocol) = catalogue.protocol(&row.protocol) else {
                continue;
            };
            let own = row.currency.as_ref();
            let own = own.unwrap_or(&protocol.plausible.currency);
            for member in EconomicMember::ALL {
                let Some((change, ends)) = scenario.change(member).zip(row.ends(member)) else {
                    continue;
                };
                hold_to_currency(scenario, change, protocol, own, row.visits(member))?;
                let all = scenario.currency().filter(|_| scenario.sets_all_money());
                let comparable = all.unwrap_or(own) == protocol.plausible.currency;
                if comparable || member == EconomicMember::PlantPopulation {
                    hold_to_bounds(scenario, member, protocol, ends)?;
                }
            }
        }
    }
    Ok(())
}

fn hold_to_currency(
    scenario: &Scenario,
    change: &Change,
    protocol: &Protocol,
    own: &str,
    visits: i64,
) -> Result<(), Failure> {
    let Change::Amount {
        currency: Some(asked),
        ..
    } = change
    else {
        return Ok(());
    };
    if scenario.sets_all_money() || asked == own {
        return Ok(());
    }
    let what = format!(
        "the scenario gives {asked}, and {visits} of the visits under {} are in {own}",
        protocol.id
    );
    Err(Failure::new(Kind::Settings, what)
        .at(format!("--with {scenario}"))
        .mend("give cost and price both as amounts of one currency, or both as factors"))
}

fn hold_to_bounds(
    scenario: &Scenario,
    member: EconomicMember,
    protocol: &Protocol,
    [least, most]: [f64; 2],
) -> Result<(), Failure> {
    let plausible = &protocol.plausible;
    let currency = plausible.currency.clone();
    // What one of the bound's unit is in canonical units.
    let (unit, bounds, per_unit) = match member {
        EconomicMember::TreatmentCost => (
            format!("{currency} an acre"),
            plausible.treatment_cost_per_acre,
            TreatmentCost {
                amount: 1.0,
                per: AreaUnit::Acre,
                currency,
            }
            .per_ha(),
        ),
        EconomicMember::MarketValue => (
            format!("{currency} a lb"),
            plausible.market_value_per_lb,
            MarketValue {
                amount: 1.0,
                per: WeightUnit::Lb,
                currency,
            }
            .per_kg(),
        ),
        EconomicMember::PlantPopulation => (
            "plants an acre".to_owned(),
            plausible.plants_per_acre,
            PlantPopulation {
                count: 1.0,
                per: AreaUnit::Acre,
            }
            .per_ha(),
        ),
    };
    let [low, high] = bounds;
    let found = [least / per_unit, most / per_unit];
    // The way there and back may cost the last digit.
    if low * (1.0 - 1e-9) <= found[0] && found[1] <= high * (1.0 + 1e-9) {
        return Ok(());
    }
    let name = name_of(member);
    let what = format!(
        "the scenario is not plausible: {name} comes to {:.4} to {:.4} {unit} in the visits under {}",
        found[0], found[1], protocol.id
    );
    Err(Failure::new(Kind::Settings, what)
        .at(format!("--with {scenario}"))
        .mend(format!(
            "{low} to {high} {unit} is plausible; check the factor and the unit"
        )))
}

/// The crop saved in the fields whose protocol says how much: `visit_id`, `saved_kg_per_ha`.
fn field_saved(amounts: &RecordBatch, catalogue: &Catalogue) -> Result<RecordBatch, Failure> {
    let protocols = amounts["protocol"].as_string::<i32>();
    let in_window = amounts["in_window"].as_boolean();
    let mut visits: Vec<String> = Vec::new();
    let mut saved: Vec<Option<f64>> = Vec::new();
    for id in protocols_of(amounts) {
        let Some(protocol) = catalogue.protocol(&id) else {
            continue;
        };
        let of_protocol: BooleanArray = (0..amounts.num_rows())
            .map(|row| Some(protocols.value(row) == id && in_window.value(row)))
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
