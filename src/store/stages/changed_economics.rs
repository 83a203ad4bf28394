//! The amounts of a scenario in place of the visits' own, held to what the protocols call plausible.

use std::sync::Arc;

use arrow::array::{ArrayRef, RecordBatch, StringArray};
use datafusion::error::DataFusionError;
use datafusion::prelude::SessionContext;
use serde::Deserialize;

use crate::rows::decode;
use crate::stages::engine::{Engine, register};
use crate::stages::files::scenario_stages;
use crate::stages::inputs::table_of;
use crate::stages::run_stage::run_stage;
use crate::stages::scenario::{Change, Scenario, column_of, name_of};
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::{Catalogue, Protocol};
use scouting::visit::economics::EconomicMember;
use scouting::visit::record::{AreaUnit, MarketValue, PlantPopulation, TreatmentCost, WeightUnit};

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
        "the scenario is not plausible: {name} is {:.4} to {:.4} {unit} in the visits under {}",
        found[0], found[1], protocol.id
    );
    Err(Failure::new(Kind::Settings, what)
        .at(format!("--with {scenario}"))
        .mend(format!(
            "{low} to {high} {unit} is plausible; check the factor and the unit"
        )))
}
