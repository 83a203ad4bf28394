//! The refusal of a scenario where an alert is asked for.

use scouting::failure::{Failure, Kind};

/// Refuses a scenario where an alert is asked for.
pub(super) fn refuse_scenario(asked: Option<&str>) -> Result<(), Failure> {
    match asked {
        Some(changes) => Err(Failure::new(
            Kind::Publish,
            "an alert reports observed results under the economics of the records, never a scenario",
        )
        .at(format!("--with {changes}"))
        .mend("leave it out; `bractline rollup --with … --out DIR` writes a scenario, for the office only")),
        None => Ok(()),
    }
}
