//! Publishes the issued alerts: all is judged, then the files go to the public place.

use std::collections::BTreeMap;
use std::path::Path;

use crate::alert::confidences::{confidences, gate};
use crate::alert::inputs::{Inputs, sha256_of};
use crate::alert::issue::facts::folder_name;
use crate::alert::issue::issuing::settle;
use crate::alert::publish::feed::{Listed, Publisher, feed_xml};
use crate::alert::publish::index_page::index_html;
use crate::alert::publish::place::{Place, Put};
use crate::alert::publish::rule::{hold_to_rule, one_protocol_a_count};
use crate::alert::publish::week_page::{WeekEntry, week_html};
use crate::alert::publish::withdrawn_page::withdrawn_html;
use crate::alert::week_pages::entry_of;
use crate::figures::grid_setting::check_grid_not_lowered;
use crate::gate::judge::Gate;
use crate::gate::public_files::{PUBLIC_FILES, WEEK_PAGE};
use crate::shared::report::counted;
use crate::shared::shown_days::named_week_in_words;
use crate::workspace::Workspace;
use crate::workspace::bucket;
use crate::workspace::open::{open_store, open_weeks};
use scouting::failure::{Failure, Kind};
use scouting::plain_file::{ISSUED_BYTES_MAX, read_plain};
use scouting::protocol::catalogue::Protocol;
use scouting::visit::week::Weeks;
use store::alerts::issued_alert::IssuedAlert;
use store::alerts::table::{alerts_with_rows, identity_of_alerts};
use store::delta::private_names::private_points_at;

/// What was published just now.
pub(crate) struct Publication {
    to: String,
    alerts: usize,
    written: Vec<String>,
    removed: Vec<String>,
    unchanged: usize,
}

impl Publication {
    /// For programs.
    pub(crate) fn json(&self) -> serde_json::Value {
        serde_json::json!({
            "to": self.to,
            "alerts": self.alerts,
            "written": self.written,
            "removed": self.removed,
            "unchanged": self.unchanged,
        })
    }

    /// For people.
    pub(crate) fn text(&self) -> String {
        format!(
            "published {} to {}: {} written, {} there already{}",
            counted(self.alerts as u64, "alert", "alerts"),
            self.to,
            counted(self.written.len() as u64, "file", "files"),
            self.unchanged,
            match self.removed.len() {
                0 => String::new(),
                some => format!(
                    ", {} of withdrawn alerts removed",
                    counted(some as u64, "file", "files")
                ),
            }
        )
    }
}

/// Publishes the issued alerts to a place.
///
/// # Errors
/// A [`Failure`] if the gate stops a file, or the place cannot be written.
pub(crate) async fn publish(workspace: &Workspace, to: &str) -> Result<Publication, Failure> {
    // All is judged before the first file is written.
    let (alerts, judged) = judged(workspace).await?;
    let place = Place::open(to, bucket::options()?)?;
    let files = judged.frozen.iter().chain(&judged.renewed);
    let names = files.map(|(name, _)| name.as_str());
    place.check_ways(names.chain(judged.removed.iter().map(String::as_str)))?;
    let mut written = Vec::new();
    let mut unchanged = 0;
    let mut note = |name: String, put: Put| match put {
        Put::Written => written.push(name),
        Put::Unchanged => unchanged += 1,
    };
    for (name, bytes) in judged.frozen {
        let put = place.put_frozen(&name, bytes).await?;
        note(name, put);
    }
    for (name, bytes) in judged.renewed {
        let put = place.put_renewed(&name, bytes).await?;
        note(name, put);
    }
    let mut removed = Vec::new();
    for name in judged.removed {
        if place.remove(&name).await? {
            removed.push(name);
        }
    }
    Ok(Publication {
        to: to.to_owned(),
        alerts,
        written,
        removed,
        unchanged,
    })
}

/// A file on its way: its name at the public place, and its bytes.
type PublicFile = (String, Vec<u8>);

/// All that is published, judged.
struct Judged {
    /// Files that never change.
    frozen: Vec<PublicFile>,
    /// Files in the place of their earlier state; last, so that they lead to nothing that is not there.
    renewed: Vec<PublicFile>,
    /// Files of withdrawn alerts, which are taken away.
    removed: Vec<String>,
}

async fn judged(workspace: &Workspace) -> Result<(usize, Judged), Failure> {
    let store = open_store(workspace).await?;
    let with_rows = alerts_with_rows(&store).await?;
    let issued: Vec<IssuedAlert> = with_rows.iter().map(|(alert, _)| alert.clone()).collect();
    settle(workspace, &issued)?;
    check_grid_not_lowered(workspace, &issued)?;
    let weeks = open_weeks(workspace).await?;
    let all = issued.iter().map(|alert| listed(alert, &weeks));
    let all: Vec<Listed> = all.collect();
    let publisher = publisher(workspace, identity_of_alerts(&store).await?);
    let confidences = confidences(&store).await?;
    let (mut frozen, mut removed, mut stubs) = (Vec::new(), Vec::new(), Vec::new());
    let mut protocols: BTreeMap<String, Protocol> = BTreeMap::new();
    let mut last: Option<(Inputs, Gate)> = None;
    for (alert, rows) in &with_rows {
        let folder = folder_name(alert.number);
        if let Some(withdrawn) = &alert.withdrawn {
            let (at, why) = (withdrawn.at, &withdrawn.reason);
            let stub = withdrawn_html(&listed(alert, &weeks), at, why, &publisher.contact)?;
            stubs.push((format!("{folder}/alert.html"), stub.into_bytes()));
            let others = PUBLIC_FILES.iter().map(|(name, _)| *name);
            let others = others.filter(|name| *name != "alert.html");
            removed.extend(others.map(|name| format!("{folder}/{name}")));
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
        if let Some((_, gate)) = &mut last {
            gate.allow_rows(rows.iter().map(|one| &one.entry));
            if let Some(note) = &alert.note {
                let points = private_points_at(&store, alert.store_version).await?;
                gate.judge_note(note, &points)?;
            }
            frozen.extend(judged_files(workspace, alert, gate)?);
        }
    }
    one_protocol_a_count(protocols.values())?;
    let mut renewed = week_pages(workspace, &issued, &publisher, &weeks)?;
    renewed.push(("feed.xml".to_owned(), feed_xml(&all, &publisher)?));
    let list = index_html(&all, &publisher)?;
    renewed.push(("index.html".to_owned(), list.into_bytes()));
    if last.is_none() {
        let inputs = Inputs::of_now(workspace)?;
        let region = inputs.region(workspace)?;
        let gate = gate(workspace, &inputs, &region, &confidences)?;
        last = Some((inputs, gate));
    }
    if let Some((_, gate)) = &last {
        for (name, bytes) in &renewed {
            gate.judge_around(name, bytes)?;
        }
        for (name, bytes) in &stubs {
            gate.judge_stub(name, bytes)?;
        }
    }
    stubs.extend(renewed);
    let judged = Judged {
        frozen,
        renewed: stubs,
        removed,
    };
    Ok((issued.len(), judged))
}

/// The page of each week that has an alert.
fn week_pages(
    workspace: &Workspace,
    issued: &[IssuedAlert],
    publisher: &Publisher,
    weeks: &Weeks,
) -> Result<Vec<PublicFile>, Failure> {
    // Alerts come in the order of their numbers: of each week and protocol the last is the newest.
    let mut by_week: BTreeMap<&str, BTreeMap<&str, &IssuedAlert>> = BTreeMap::new();
    let mut newest: BTreeMap<&str, &IssuedAlert> = BTreeMap::new();
    for alert in issued {
        let week = by_week.entry(&alert.iso_week).or_default();
        week.insert(&alert.protocol, alert);
        newest.insert(&alert.iso_week, alert);
    }
    let pages = by_week.into_iter().map(|(iso_week, alerts)| {
        let region = Inputs::of_alert(workspace, newest[iso_week])?.region(workspace)?;
        let entries = alerts.values();
        let entries: Vec<WeekEntry> = entries
            .map(|alert| entry_of(alert, &alert.title, "../.."))
            .collect();
        let week = named_week_in_words(iso_week, weeks);
        let page = week_html(week, &region, &publisher.contact, &entries)?;
        Ok((format!("week/{iso_week}/{WEEK_PAGE}"), page.into_bytes()))
    });
    pages.collect()
}

/// The files of an issued alert, each as it was frozen and fit to be seen.
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
        files.push((name, bytes));
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

fn listed(alert: &IssuedAlert, weeks: &Weeks) -> Listed {
    Listed {
        number: alert.number,
        issued_at: alert.issued_at,
        iso_week: alert.iso_week.clone(),
        week: named_week_in_words(&alert.iso_week, weeks),
        protocol: alert.protocol.clone(),
        title: alert.title.clone(),
        replaces: alert.replaces,
        headline: alert.headline.clone(),
        summary: alert.summary.clone(),
        invented: alert.invented.clone(),
        withdrawn: alert
            .withdrawn
            .as_ref()
            .map(|withdrawn| (withdrawn.at, withdrawn.reason.clone())),
    }
}

fn publisher(workspace: &Workspace, workspace_id: String) -> Publisher {
    let settings = workspace.settings();
    let first = |texts: [&str; 3]| {
        let said = texts.into_iter().find(|text| !text.trim().is_empty());
        said.unwrap_or_default().to_owned()
    };
    let title = first([&settings.publish.title, "Scouting alerts", ""]);
    Publisher {
        base_url: settings.publish.base_url.clone(),
        author: first([&settings.publish.author, &settings.office.name, &title]),
        title,
        contact: settings.office.contact.clone(),
        workspace_id,
    }
}
