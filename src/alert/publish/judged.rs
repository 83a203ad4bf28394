//! All that is published, judged before the first file is written.

use std::collections::BTreeMap;
use std::path::Path;

use super::around::{Shown, publisher, renewed_files};
use super::banner::{banner, with_banner};
use super::latest::{latest_files, newest_of_pests, no_longer_latest, wholly_withdrawn};
use super::listed::{Listed, newer};
use super::place::PublicFile;
use super::rule::{hold_to_rule, one_protocol_a_count};
use super::withdrawn_page::withdrawn_html;
use crate::alert::confidences::{confidences, gate};
use crate::alert::inputs::{Inputs, sha256_of};
use crate::alert::issue::facts::folder_name;
use crate::alert::issue::settle::settle;
use crate::alert::pest_line::shown_rows;
use crate::figures::grid_setting::check_grid_not_lowered;
use crate::gate::judge::Gate;
use crate::gate::public_files::{ALERT_PAGE, LATEST, PUBLIC_FILES};
use crate::workspace::Workspace;
use crate::workspace::open::{open_store, open_weeks};
use scouting::failure::{Failure, Kind};
use scouting::plain_file::{ISSUED_BYTES_MAX, read_plain};
use scouting::protocol::catalogue::Protocol;
use store::alerts::issued_alert::IssuedAlert;
use store::alerts::table::{alerts_with_rows, identity_of_alerts};
use store::delta::private_names::private_points_at;

/// All that is published, judged.
#[derive(Default)]
pub(super) struct Judged {
    /// How many alerts were issued.
    pub(super) alerts: usize,
    /// Files that never change.
    pub(super) frozen: Vec<PublicFile>,
    /// Pages of alerts: they never change but for a banner that leads to a newer alert.
    pub(super) pages: Vec<PublicFile>,
    /// Files in the place of their earlier state; last, so that they lead to nothing that is not there.
    pub(super) renewed: Vec<PublicFile>,
    /// Files of withdrawn alerts, and of no longer newest ones, which are taken away.
    pub(super) removed: Vec<String>,
}

/// Reads and judges all that is published.
///
/// # Errors
/// A [`Failure`] that names what stopped it; then nothing is written.
pub(super) async fn judged(workspace: &Workspace) -> Result<Judged, Failure> {
    let store = open_store(workspace).await?;
    let with_rows = alerts_with_rows(&store).await?;
    let issued: Vec<IssuedAlert> = with_rows.iter().map(|(alert, _)| alert.clone()).collect();
    settle(workspace, &issued)?;
    check_grid_not_lowered(workspace, &issued)?;
    let weeks = open_weeks(workspace).await?;
    let all = issued.iter().map(|alert| Listed::of(alert, &weeks));
    let all: Vec<Listed> = all.collect();
    let publisher = publisher(workspace, identity_of_alerts(&store).await?);
    let confidences = confidences(&store).await?;
    let newest: Vec<i64> = newest_of_pests(&issued)
        .iter()
        .map(|alert| alert.number)
        .collect();
    let (mut judged, mut stubs) = (Judged::default(), Vec::new());
    let mut protocols: BTreeMap<String, Protocol> = BTreeMap::new();
    let mut shown: BTreeMap<i64, Shown> = BTreeMap::new();
    let mut last: Option<(Inputs, Gate)> = None;
    for ((alert, rows), listed) in with_rows.iter().zip(&all) {
        let folder = folder_name(alert.number);
        if let Some(withdrawn) = &alert.withdrawn {
            let (at, why) = (withdrawn.at, &withdrawn.reason);
            let stub = withdrawn_html(listed, &all, at, why, &publisher.contact, "../")?;
            stubs.push((format!("{folder}/{ALERT_PAGE}"), stub.into_bytes()));
            let others = PUBLIC_FILES.iter().map(|(name, _)| *name);
            let others = others.filter(|name| *name != ALERT_PAGE);
            judged
                .removed
                .extend(others.map(|name| format!("{folder}/{name}")));
            continue;
        }
        hold_to_rule(workspace, alert, rows)?;
        let inputs = Inputs::of_alert(workspace, alert)?;
        let same = last.as_ref().is_some_and(|(other, _)| *other == inputs);
        if !same {
            let region = inputs.region(workspace)?;
            let gate = gate(workspace, &inputs, &region, &confidences)?;
            let catalogue = inputs.catalogue()?;
            let used = issued.iter().filter(|other| other.withdrawn.is_none());
            for id in used.map(|other| &other.protocol) {
                let protocol = catalogue.protocol(id).cloned();
                protocols.extend(protocol.map(|protocol| (id.clone(), protocol)));
            }
            last = Some((inputs, gate));
        }
        let Some((_, gate)) = &mut last else { continue };
        gate.allow_rows(rows.iter().map(|one| &one.entry));
        let reason = alert.change.as_ref().and_then(|change| change.reason());
        let texts: Vec<&str> = alert.note.as_deref().into_iter().chain(reason).collect();
        if !texts.is_empty() {
            let points = private_points_at(&store, alert.store_version).await?;
            for text in texts {
                gate.judge_note(text, &points)?;
            }
        }
        let files = judged_files(workspace, alert, gate)?;
        if newest.contains(&alert.number) {
            for (name, bytes) in latest_files(alert, &files) {
                // Of the page the links differ; what else is copied was judged.
                if name.ends_with(ALERT_PAGE) {
                    gate.judge_stub(&name, &bytes)?;
                }
                judged.renewed.push((name, bytes));
            }
            let has = |name: &str| alert.files.iter().any(|file| file.name == name);
            judged
                .removed
                .extend(no_longer_latest(&alert.protocol, has));
        }
        for (name, bytes) in files {
            let place = format!("{folder}/{name}");
            match (name.as_str(), newer(&all, listed)) {
                (ALERT_PAGE, None) => judged.pages.push((place, bytes)),
                (ALERT_PAGE, Some(newer)) => {
                    let page = with_banner(&bytes, &banner(newer))?;
                    gate.judge_stub(&place, &page)?;
                    judged.pages.push((place, page));
                }
                _ => judged.frozen.push((place, bytes)),
            }
        }
        if let Some(protocol) = protocols.get(&alert.protocol) {
            let rows = shown_rows(rows, &alert.iso_week, &alert.protocol);
            let protocol = protocol.clone();
            shown.insert(alert.number, Shown { rows, protocol });
        }
    }
    for listed in wholly_withdrawn(&all) {
        let Some((at, why)) = &listed.withdrawn else {
            continue;
        };
        let stub = withdrawn_html(listed, &all, *at, why, &publisher.contact, "../../")?;
        let protocol = &listed.protocol;
        stubs.push((
            format!("{LATEST}/{protocol}/{ALERT_PAGE}"),
            stub.into_bytes(),
        ));
        let is_stub = |name: &str| name == ALERT_PAGE;
        judged.removed.extend(no_longer_latest(protocol, is_stub));
    }
    one_protocol_a_count(protocols.values())?;
    let around = renewed_files(workspace, (&issued, &all), &weeks, &shown, &publisher)?;
    if last.is_none() {
        let inputs = Inputs::of_now(workspace)?;
        let region = inputs.region(workspace)?;
        let gate = gate(workspace, &inputs, &region, &confidences)?;
        last = Some((inputs, gate));
    }
    if let Some((_, gate)) = &last {
        for (name, bytes) in &around {
            gate.judge_around(name, bytes)?;
        }
        for (name, bytes) in &stubs {
            gate.judge_stub(name, bytes)?;
        }
    }
    stubs.append(&mut judged.renewed);
    stubs.extend(around);
    judged.renewed = stubs;
    judged.alerts = issued.len();
    Ok(judged)
}

/// The files of an issued alert by their plain names, each as it was frozen and fit to be seen.
fn judged_files(
    workspace: &Workspace,
    alert: &IssuedAlert,
    gate: &Gate,
) -> Result<Vec<PublicFile>, Failure> {
    let folder = workspace.issued().join(folder_name(alert.number));
    no_other_file(&folder, alert)?;
    let mut files = Vec::new();
    for file in &alert.files {
        let path = folder.join(&file.name);
        let bytes = read_plain(&path, ISSUED_BYTES_MAX)?;
        let name = format!("{}/{}", folder_name(alert.number), file.name);
        gate.judge_alert_file(&name, &file.name, &bytes, &alert.protocol)?;
        if sha256_of(&bytes) != file.sha256 {
            return Err(stopped(&name, "it is not what was issued", alert.number));
        }
        files.push((file.name.clone(), bytes));
    }
    Ok(files)
}

/// Any file next to the frozen files was not issued: somebody means it to be published, or put it there.
fn no_other_file(folder: &Path, alert: &IssuedAlert) -> Result<(), Failure> {
    let unreadable = |error| Failure::file("read", folder, error);
    for entry in folder.read_dir().map_err(unreadable)? {
        let name = entry.map_err(unreadable)?.file_name();
        if !alert.files.iter().any(|file| name == file.name.as_str()) {
            let name = format!("{}/{}", folder_name(alert.number), name.display());
            return Err(stopped(&name, "it was not issued", alert.number));
        }
    }
    Ok(())
}

fn stopped(name: &str, why: &str, number: i64) -> Failure {
    Failure::new(
        Kind::Publish,
        format!("publishing stopped, nothing was written: {name}: {why}"),
    )
    .mend(format!(
        "put the folder right: bractline alert --as-issued {number} --out DIR builds the files again"
    ))
}
