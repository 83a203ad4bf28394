//! The catalog and its protocols for programs.

use serde_json::{Value, json};

use crate::shared::cautions::{crop_and_stage, standing_cautions};
use scouting::failure::Failure;
use scouting::protocol::catalogue::{Catalogue, Protocol};
use scouting::protocol::threshold::worked_values;

/// The list of protocols.
pub(crate) fn list_json(catalogue: &Catalogue) -> Value {
    let protocols: Vec<Value> = catalogue
        .protocols()
        .map(|protocol| {
            json!({
                "id": protocol.id,
                "title": protocol.title,
                "pest": protocol.pest,
                "crop": protocol.crop,
                "crop_types": protocol.crop_types,
                "counted": protocol.counted,
                "layout": protocol.layout,
                "decision": protocol.decision,
                "threshold_kind": protocol.threshold.kind,
                "stages": [protocol.stages.first, protocol.stages.last],
                "threshold": protocol.threshold.formula.trim(),
            })
        })
        .collect();
    json!({ "protocols": protocols })
}

/// One protocol with its worked values and the cautions that every protocol has.
///
/// # Errors
/// A [`Failure`] if a worked value cannot be computed.
pub(crate) fn show_json(protocol: &Protocol) -> Result<Value, Failure> {
    let standing = standing_cautions([crop_and_stage(protocol)]);
    let standing: Vec<String> = standing.into_iter().map(|caution| caution.text).collect();
    Ok(json!({
        "protocol": protocol,
        "worked_values": worked_values(protocol)?,
        "standing_cautions": standing,
    }))
}
