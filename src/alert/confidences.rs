//! What was given in confidence, and the gate that lets none of it into a public file.

use crate::alert::inputs::Inputs;
use crate::gate::judge::{Confidences, Gate};
use crate::workspace::Workspace;
use scouting::failure::Failure;
use scouting::region::Region;
use store::delta::private_names::{private_names, private_points};
use store::delta::tables::Store;

/// All that was given in confidence.
pub(crate) async fn confidences(store: &Store) -> Result<Confidences, Failure> {
    Ok(Confidences {
        names: private_names(store).await?,
        points: private_points(store).await?,
    })
}

/// The rules for files that were made from these inputs.
pub(crate) fn gate(
    workspace: &Workspace,
    inputs: &Inputs,
    region: &Region,
    confidences: &Confidences,
) -> Result<Gate, Failure> {
    let settings = workspace.as_it_was(&inputs.settings)?;
    let grid_km = settings.settings().disclosure.point_grid_km;
    let protocols = inputs.protocols.keys().map(String::as_str);
    Gate::new(region, protocols, grid_km, confidences)
}
