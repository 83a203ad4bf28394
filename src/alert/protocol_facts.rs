//! What an alert says of its protocol, from the protocol file.

use crate::alert::bulletin::{ProtocolFacts, ThresholdBasis};
use crate::alert::page::worked::WorkedThreshold;
use crate::plan::threshold_table::{ShownTable, ThresholdTable};
use crate::shared::passages::count_timing;
use crate::shared::shown_numbers::Units;
use crate::shared::unseen::plain_text;
use scouting::failure::Failure;
use scouting::protocol::catalogue::{Decision, Protocol, ThresholdKind};
use scouting::protocol::threshold::worked_values;

/// The facts of a protocol.
///
/// # Errors
/// A [`Failure`] if a worked value or a threshold cannot be computed.
pub(crate) fn facts(protocol: &Protocol, units: Units) -> Result<ProtocolFacts, Failure> {
    // The page escapes markup; marks of writing direction it would show by what they do.
    Ok(ProtocolFacts {
        id: protocol.id.clone(),
        title: plain_text(&protocol.title),
        crop: plain_text(&protocol.crop),
        counted: plain_text(&protocol.counted),
        threshold_name: protocol.threshold.kind.words().to_owned(),
        threshold_meaning: meaning(protocol),
        threshold_basis: threshold_basis(protocol),
        stage_window: span(&protocol.stages.first, &protocol.stages.last),
        first_stage: protocol.stages.first.clone(),
        scale: protocol.scale.clone(),
        days_after_treatment: protocol.after_treatment_days(),
        count_timing: count_timing(protocol),
        treatment_window: protocol
            .treatment_stages
            .as_ref()
            .map(|stages| span(&stages.first, &stages.last)),
        next_step: protocol.timing.next_step.as_deref().map(plain_text),
        treatment_stage: protocol.timing.treat_at.clone(),
        treatment: Some(plain_text(&protocol.timing.treat)),
        hatch: hatch(protocol),
        worked: worked(protocol)?,
        threshold_tables: threshold_tables(protocol, units)?,
        units,
        source: plain_text(&protocol.threshold.source),
        cautions: protocol
            .cautions
            .iter()
            .map(|caution| plain_text(&caution.text))
            .collect(),
        cautions_at_top: protocol
            .cautions
            .iter()
            .filter(|caution| caution.at_top)
            .map(|caution| plain_text(&caution.text))
            .collect(),
    })
}

/// `R2–R3`, or `R5.1` where both ends are one.
fn span(first: &str, last: &str) -> String {
    match first == last {
        true => first.to_owned(),
        false => format!("{first}–{last}"),
    }
}

/// What becomes of the eggs. Where they are counted themselves, they were laid over the days before the visit.
fn hatch(protocol: &Protocol) -> Option<String> {
    let [from, to] = protocol.timing.hatch_days?;
    let counted = protocol
        .development
        .as_ref()
        .is_some_and(|development| development.hatch.is_some());
    let seen = match counted {
        true => format!(
            " Eggs seen on a visit were laid over the days before it: they begin to hatch at once, and the last of them \
             hatch within {to} days of the visit."
        ),
        false => String::new(),
    };
    Some(format!(
        "Eggs hatch {from} to {to} days after they are laid.{seen}"
    ))
}

/// What the kind of the threshold means, where it says something of this one: loss and cost say nothing of a fixed
/// value.
fn meaning(protocol: &Protocol) -> Option<&'static str> {
    let kind = protocol.threshold.kind;
    let of_costs = kind == ThresholdKind::EconomicInjuryLevel;
    let says = match threshold_basis(protocol) {
        ThresholdBasis::Economics => true,
        ThresholdBasis::Fixed => !of_costs,
        ThresholdBasis::Scouting | ThresholdBasis::Region => false,
    };
    says.then(|| kind.meaning())
}

/// What the threshold is based on: economics where its expression reads a column of them.
fn threshold_basis(protocol: &Protocol) -> ThresholdBasis {
    let economics = ["treatment_cost", "market_value", "plants_per_ha"];
    let computed = economics
        .iter()
        .any(|column| protocol.threshold.expression.contains(column));
    match (protocol.decision, computed) {
        (Decision::Region, _) => ThresholdBasis::Region,
        (Decision::Scout, _) => ThresholdBasis::Scouting,
        (Decision::Field, true) => ThresholdBasis::Economics,
        (Decision::Field, false) => ThresholdBasis::Fixed,
    }
}

/// The protocol's first worked value that gives all the economics, in words.
fn worked(protocol: &Protocol) -> Result<Option<WorkedThreshold>, Failure> {
    let values = worked_values(protocol)?;
    let counted = plain_text(&protocol.counted);
    let mut checks = protocol.checks.iter().zip(values);
    Ok(checks
        .find_map(|(check, value)| WorkedThreshold::of(&check.given.economics(), value, &counted)))
}

/// Thresholds by cost and price, those in the office's units first.
fn threshold_tables(protocol: &Protocol, units: Units) -> Result<Vec<ShownTable>, Failure> {
    let systems = match units {
        Units::Us => [Units::Us, Units::Metric],
        Units::Metric => [Units::Metric, Units::Us],
    };
    let tables = systems.map(|units| ThresholdTable::of(protocol, units));
    let mut shown = Vec::new();
    for table in tables {
        shown.extend(table?.map(|table| table.shown()));
    }
    Ok(shown)
}
