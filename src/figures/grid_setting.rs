//! The width of the grid against the alerts that were issued: it may be raised and never lowered.
//!
//! Published points stay where people have them. A narrower grid afterwards would say more about the same
//! fields than the office decided to say when it issued.

use crate::workspace::open::open_store;
use crate::workspace::{SETTINGS_FILE, Workspace};
use scouting::failure::{Failure, Kind};
use store::alerts::issued_alert::IssuedAlert;
use store::alerts::table::issued_alerts;

/// The same for the alerts that the store of the workspace has.
///
/// # Errors
/// As [`check_grid_not_lowered`], and if the store cannot be read.
pub(crate) async fn check_grid_of_store(workspace: &Workspace) -> Result<(), Failure> {
    let issued = issued_alerts(&open_store(workspace).await?).await?;
    check_grid_not_lowered(workspace, &issued)
}

/// Whether the grid is as wide as that of every issued alert.
///
/// # Errors
/// A [`Failure`] that names the alert with the widest grid, if the setting is narrower than that.
pub(crate) fn check_grid_not_lowered(
    workspace: &Workspace,
    issued: &[IssuedAlert],
) -> Result<(), Failure> {
    let now = workspace.settings().disclosure.point_grid_km;
    let mut widest: Option<(f64, i64)> = None;
    for alert in issued {
        let then = workspace.as_it_was(&alert.settings)?;
        let km = then.settings().disclosure.point_grid_km;
        if widest.is_none_or(|(most, _)| km > most) {
            widest = Some((km, alert.number));
        }
    }
    match widest {
        Some((km, number)) if now < km => Err(Failure::new(
            Kind::Settings,
            format!(
                "[disclosure] point_grid_km = {now} is narrower than {km}, with which alert {number} was issued"
            ),
        )
        .at(SETTINGS_FILE)
        .mend(format!(
            "write a width of {km} km or more: a narrower grid would tell more about fields that are published already"
        ))),
        _ => Ok(()),
    }
}
