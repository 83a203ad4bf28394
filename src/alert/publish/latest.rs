//! The newest alert of each pest at an address that stays: `latest/PROTOCOL/…`, copied by what its folder holds.

use std::collections::BTreeMap;

use serde_json::json;

use super::listed::{Listed, newer};
use super::place::PublicFile;
use crate::gate::public_files::{ALERT_PAGE, LATEST, PUBLIC_FILES};
use crate::shared::cautions::IN_ONE_SENTENCE;
use scouting::failure::{Failure, Kind};
use store::alerts::issued_alert::IssuedAlert;

/// The newest alert of each pest, in the order of the protocols: of its newest week whose newest alert was not withdrawn.
pub(super) fn newest_of_pests(issued: &[IssuedAlert]) -> Vec<&IssuedAlert> {
    // Alerts come in the order of their numbers: of each week and protocol the last is the newest.
    let mut weeks: BTreeMap<(&str, &str), &IssuedAlert> = BTreeMap::new();
    for alert in issued {
        weeks.insert((&alert.protocol, &alert.iso_week), alert);
    }
    let in_force = weeks
        .into_values()
        .filter(|alert| alert.withdrawn.is_none());
    let newest: BTreeMap<&str, &IssuedAlert> =
        in_force.map(|alert| (&*alert.protocol, alert)).collect();
    newest.into_values().collect()
}

/// The files of an alert as they are copied to its pest's address, which is one folder deeper than its own.
pub(super) fn latest_files(alert: &IssuedAlert, files: &[PublicFile]) -> Vec<PublicFile> {
    let copies = files.iter().map(|(name, bytes)| {
        let place = format!("{LATEST}/{}/{name}", alert.protocol);
        let bytes = match name.as_str() {
            ALERT_PAGE => String::from_utf8_lossy(bytes)
                .replace("href=\"../", "href=\"../../")
                .into_bytes(),
            _ => bytes.clone(),
        };
        (place, bytes)
    });
    copies.collect()
}

/// Files that an earlier newest alert of a pest may have left at its address, and that are no longer there.
pub(super) fn no_longer_latest(protocol: &str, is_there: impl Fn(&str) -> bool) -> Vec<String> {
    let names = PUBLIC_FILES.iter().map(|(name, _)| *name);
    let gone = names.filter(|name| !is_there(name));
    gone.map(|name| format!("{LATEST}/{protocol}/{name}"))
        .collect()
}

/// Of each pest that has no alert in force, the newest of its alerts.
pub(super) fn wholly_withdrawn(listed: &[Listed]) -> Vec<&Listed> {
    let newest: BTreeMap<&str, &Listed> = listed
        .iter()
        .map(|alert| (&*alert.protocol, alert))
        .collect();
    let in_force = |protocol: &str| {
        let mut of_pest = listed.iter().filter(|alert| alert.protocol == protocol);
        of_pest.any(|alert| alert.withdrawn.is_none() && newer(listed, alert).is_none())
    };
    let without = newest
        .into_iter()
        .filter(|(protocol, _)| !in_force(protocol));
    without.map(|(_, alert)| alert).collect()
}

/// The newest alerts for programs.
///
/// # Errors
/// A [`Failure`] if it cannot be written as JSON.
pub(super) fn manifest(
    newest: &[&IssuedAlert],
    invented: Option<&str>,
) -> Result<Vec<u8>, Failure> {
    let alerts = newest.iter().map(|alert| {
        let files = alert.files.iter();
        let files = files.map(|file| format!("{}/{}", alert.protocol, file.name));
        json!({
            "protocol": alert.protocol,
            "title": alert.title,
            "iso_week": alert.iso_week,
            "number": alert.number,
            "issued_at": alert.issued_at.strftime("%Y-%m-%dT%H:%M:%SZ").to_string(),
            "headline": alert.headline,
            "files": files.collect::<Vec<_>>(),
        })
    });
    let report = json!({
        "caution": IN_ONE_SENTENCE,
        "invented": invented,
        "alerts": alerts.collect::<Vec<_>>(),
    });
    let mut bytes = serde_json::to_vec_pretty(&report).map_err(|error| {
        Failure::because(Kind::Publish, "cannot write the newest alerts", error)
    })?;
    bytes.push(b'\n');
    Ok(bytes)
}
