//! What an alert says of its protocol, from the protocol file.

use crate::alert::bulletin::{ProtocolFacts, ThresholdBasis};
use crate::alert::page::worked::WorkedThreshold;
use crate::shared::unseen::plain_text;
use scouting::failure::Failure;
use scouting::protocol::catalogue::{Decision, Protocol};
use scouting::protocol::threshold::worked_values;

/// The facts of a protocol.
///
/// # Errors
/// A [`Failure`] if a worked value cannot be computed.
pub(crate) fn facts(protocol: &Protocol) -> Result<ProtocolFacts, Failure> {
    let hatch = protocol
        .timing
        .hatch_days
        // Not twice: the protocol's own words may say it.
        .filter(|_| !protocol.timing.treat.contains("hatch"))
        .map(|[from, to]| format!("Eggs hatch {from} to {to} days after they are laid."));
    // The page escapes markup; marks of writing direction it would show by what they do.
    Ok(ProtocolFacts {
        id: protocol.id.clone(),
        title: plain_text(&protocol.title),
        crop: plain_text(&protocol.crop),
        counted: plain_text(&protocol.counted),
        threshold_name: plain_text(&protocol.threshold.kind),
        threshold_basis: threshold_basis(protocol),
        stage_window: format!("{}–{}", protocol.stages.first, protocol.stages.last),
        days_after_treatment: protocol.after_treatment_days(),
        treatment_stage: protocol.timing.treat_at.clone(),
        treatment: Some(plain_text(&protocol.timing.treat)),
        hatch,
        worked: worked(protocol)?,
        source: plain_text(&protocol.threshold.source),
        cautions: protocol
            .cautions
            .iter()
            .map(|caution| plain_text(&caution.text))
            .collect(),
    })
}

/// What the threshold is based on: economics where its expression reads a column of them.
fn threshold_basis(protocol: &Protocol) -> ThresholdBasis {
    let economics = ["treatment_cost", "market_value", "plants_per_ha"];
    let computed = economics
        .iter()
        .any(|column| protocol.threshold.expression.contains(column));
    match (protocol.decision, computed) {
        (Decision::Region, _) => ThresholdBasis::Region,
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
