//! What an alert says of its protocol, from the protocol file.

use crate::alert::bulletin::ProtocolFacts;
use crate::alert::page::worked::WorkedThreshold;
use crate::shared::unseen::plain_text;
use scouting::failure::Failure;
use scouting::protocol::catalogue::Protocol;
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
        stage_window: format!("{}–{}", protocol.stages.first, protocol.stages.last),
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

/// The protocol's first worked value that gives all the economics, in words.
fn worked(protocol: &Protocol) -> Result<Option<WorkedThreshold>, Failure> {
    let values = worked_values(protocol)?;
    let counted = plain_text(&protocol.counted);
    let mut checks = protocol.checks.iter().zip(values);
    Ok(checks
        .find_map(|(check, value)| WorkedThreshold::of(&check.given.economics(), value, &counted)))
}
