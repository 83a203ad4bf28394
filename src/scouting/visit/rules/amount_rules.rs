//! The trade rules about amounts: the economics of a visit and the area of its field, against what is plausible.

use crate::visit::code::Code;
use crate::visit::economics::EconomicMember;
use crate::visit::finding::Finding;
use crate::visit::record::{Economics, Visit};
use crate::visit::rules::limits::Limits;

/// What is wrong with the amounts that are given: those of a record, or the defaults of a workspace.
pub fn economics_findings(economics: &Economics, limits: &Limits) -> Vec<Finding> {
    let mut findings = Vec::new();
    findings.extend(currencies_differ(economics));
    if currency_unchecked(economics, limits) {
        findings.extend(cost_to_value_implausible(economics, limits));
    } else {
        findings.extend(treatment_cost_implausible(economics, limits));
        findings.extend(market_value_implausible(economics, limits));
    }
    findings.extend(plant_population_implausible(economics, limits));
    findings
}

/// Without its economics there is no threshold, and what a field costs and earns is not guessed. A threshold
/// that needs none of them asks for none.
pub(in crate::visit) fn economics_missing(
    visit: &Visit,
    economics: &Economics,
    limits: &Limits,
) -> Option<Finding> {
    let crop_type = &visit.field.crop_type;
    let needed = limits.economics_needed(crop_type);
    let lacking = economics.lacking(needed);
    let names = |members: &[EconomicMember], between: &str| {
        let names: Vec<&str> = members.iter().map(|member| member.name()).collect();
        names.join(between)
    };
    (!lacking.is_empty()).then(|| {
        let (last, others) = needed.split_last().expect("what lacks something needs something");
        let and = if others.is_empty() { "" } else { " and " };
        let expected = format!("{}{and}{}", names(others, ", "), last.name());
        let are = if others.is_empty() { "is" } else { "are" };
        Finding::new(
            Code::EconomicsMissing,
            "/economics",
            format!("no {}", names(&lacking, ", no ")),
            format!(
                "{expected} {are} expected; for {crop_type} this workspace has no default for what is missing \
                 (bractline.toml, [defaults])"
            ),
        )
    })
}

fn currencies_differ(economics: &Economics) -> Option<Finding> {
    let cost = &economics.treatment_cost.as_ref()?.currency;
    let value = &economics.market_value.as_ref()?.currency;
    (cost != value).then(|| {
        Finding::new(
            Code::CurrenciesDiffer,
            "/economics/market_value/currency",
            format!("{value}, with the treatment cost in {cost}"),
            "one currency for both is expected",
        )
    })
}

fn treatment_cost_implausible(economics: &Economics, limits: &Limits) -> Option<Finding> {
    let cost = economics.treatment_cost.as_ref()?;
    implausible(
        Code::TreatmentCostImplausible,
        "/economics/treatment_cost/amount",
        cost.per_acre(),
        limits.treatment_cost_per_acre,
        || format!("{} {} per {}", cost.amount, cost.currency, cost.per.name()),
        || format!("{} per acre", limits.currency),
        limits,
    )
}

fn market_value_implausible(economics: &Economics, limits: &Limits) -> Option<Finding> {
    let value = economics.market_value.as_ref()?;
    implausible(
        Code::MarketValueImplausible,
        "/economics/market_value/amount",
        value.per_lb(),
        limits.market_value_per_lb,
        || {
            let per = value.per.name();
            format!("{} {} per {per}", value.amount, value.currency)
        },
        || {
            let currency = &limits.currency;
            format!("{currency} per lb (were cents, or a hundredweight, meant?)")
        },
        limits,
    )
}

/// Amounts in another currency have no bounds of their own, but in cost ÷ value the currency cancels.
/// Without a bound a slip of the pen could make a threshold that no roll-up can add up.
fn cost_to_value_implausible(economics: &Economics, limits: &Limits) -> Option<Finding> {
    let cost = economics.treatment_cost.as_ref()?;
    let value = economics.market_value.as_ref()?;
    let (cost_low, cost_high) = limits.treatment_cost_per_acre;
    let (value_low, value_high) = limits.market_value_per_lb;
    implausible(
        Code::CostToValueImplausible,
        "/economics",
        cost.per_acre() / value.per_lb(),
        (cost_low / value_high, cost_high / value_low),
        || {
            format!(
                "{} {} per {} against {} per {}",
                cost.amount,
                cost.currency,
                cost.per.name(),
                value.amount,
                value.per.name()
            )
        },
        || "lb of crop per acre, treatment cost by market value,".to_owned(),
        limits,
    )
}

fn plant_population_implausible(economics: &Economics, limits: &Limits) -> Option<Finding> {
    let plants = economics.plant_population.as_ref()?;
    implausible(
        Code::PlantPopulationImplausible,
        "/economics/plant_population/count",
        plants.per_acre(),
        limits.plants_per_acre,
        || format!("{} plants per {}", plants.count, plants.per.name()),
        || "plants per acre".to_owned(),
        limits,
    )
}

/// An area that no field of the protocol has.
pub(in crate::visit) fn area_implausible(visit: &Visit, limits: &Limits) -> Option<Finding> {
    let area_ha = visit.field.area_ha;
    implausible(
        Code::AreaImplausible,
        "/field/area_ha",
        area_ha,
        limits.area_ha,
        || format!("{area_ha} ha"),
        || "ha (were acres meant?)".to_owned(),
        limits,
    )
}

fn implausible(
    code: Code,
    pointer: &str,
    value: f64,
    (low, high): (f64, f64),
    found: impl FnOnce() -> String,
    unit: impl FnOnce() -> String,
    limits: &Limits,
) -> Option<Finding> {
    // Most amounts are plausible, and no word of them is written.
    (!(low..=high).contains(&value)).then(|| {
        let expected = format!(
            "for {} {low} to {high} {} is plausible",
            limits.protocol,
            unit()
        );
        Finding::new(code, pointer, found(), expected)
    })
}

/// Amounts in another currency than the protocol's cannot be compared with its bounds.
pub(in crate::visit) fn currency_unchecked(economics: &Economics, limits: &Limits) -> bool {
    economics
        .currency()
        .is_some_and(|currency| currency != limits.currency)
}
