//! `bractline publish`: the issued alerts to where people read them.

use std::path::Path;

use super::bucket;
use super::grid_setting::check_grid_not_lowered;
use super::inputs::{Inputs, sha256_of};
use super::issuing::{confidences, gate, settle};
use super::report::{self, counted};
use super::scenario::refuse_scenario;
use super::{Format, Outcome, open_store};
use crate::failure::{Failure, Kind};
use crate::plain_file::{ISSUED_BYTES_MAX, read_plain};
use crate::publish::feed::{Listed, Publisher, feed_xml};
use crate::publish::gate::Gate;
use crate::publish::index_page::index_html;
use crate::publish::issue::folder_name;
use crate::publish::place::{Place, Put};
use crate::store::alerts::{IssuedAlert, identity_of_alerts, issued_alerts};
use crate::store::private_names::private_points_at;
use crate::workspace::Workspace;

/// Copy the issued alerts, their feed and their list to a public place
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline publish --to /srv/www/alerts\n  bractline publish --to s3://bucket/alerts\n\nCopies issued alerts, feed.xml and index.html, and nothing else. Every file is judged before the first is\nwritten: one that would give a farm away stops all. What is there already stays; a frozen file that was\nchanged there is an error. A bucket's region and keys come from AWS_REGION, AWS_ACCESS_KEY_ID …"
)]
pub struct Publish {
    /// A folder, file://… or s3://BUCKET/PREFIX
    #[arg(long, value_name = "PLACE")]
    to: String,

    /// Not for an alert: a scenario is no finding
    #[arg(long = "with", value_name = "CHANGES", hide = true)]
    scenario: Option<String>,

    /// How to report
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

/// A file on its way: its name at the public place, and its bytes.
type PublicFile = (String, Vec<u8>);

impl Publish {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        refuse_scenario(self.scenario.as_deref())?;
        let store = open_store(workspace).await?;
        let issued = issued_alerts(&store).await?;
        settle(workspace, &issued)?;
        check_grid_not_lowered(workspace, &issued)?;
        let listed: Vec<Listed> = issued.iter().map(listed).collect();
        let publisher = publisher(workspace, identity_of_alerts(&store).await?);
        let around = [
            ("feed.xml", feed_xml(&listed, &publisher)?),
            ("index.html", index_html(&listed, &publisher)?.into_bytes()),
        ];
        // All is judged before the first file is written.
        let confidences = confidences(&store).await?;
        let mut files = Vec::new();
        let mut last: Option<(Inputs, Gate)> = None;
        for alert in &issued {
            let inputs = Inputs::of_alert(workspace, alert)?;
            let same = last.as_ref().is_some_and(|(other, _)| *other == inputs);
            if !same {
                let region = inputs.region(workspace)?;
                let gate = gate(workspace, &inputs, &region, &confidences)?;
                last = Some((inputs, gate));
            }
            if let Some((_, gate)) = &last {
                if let Some(note) = &alert.note {
                    let points = private_points_at(&store, alert.store_version).await?;
                    gate.judge_note(note, &points)?;
                }
                files.extend(judged_files(workspace, alert, gate)?);
            }
        }
        if let Some((_, gate)) = &last {
            for (name, bytes) in &around {
                gate.judge_around(name, bytes)?;
            }
        }
        let place = Place::open(&self.to, bucket::options()?)?;
        let names = files.iter().map(|(name, _)| name.as_str());
        place.check_ways(names.chain(around.iter().map(|(name, _)| *name)))?;
        let mut written = Vec::new();
        let mut unchanged = 0;
        let mut note = |name: String, put: Put| match put {
            Put::Written => written.push(name),
            Put::Unchanged => unchanged += 1,
        };
        for (name, bytes) in files {
            let put = place.put_frozen(&name, bytes).await?;
            note(name, put);
        }
        // Last, so that they lead to nothing that is not there.
        for (name, bytes) in around {
            note(name.to_owned(), place.put_renewed(name, bytes).await?);
        }
        match self.format {
            Format::Json => report::say_json(&serde_json::json!({
                "to": self.to,
                "alerts": issued.len(),
                "written": written,
                "unchanged": unchanged,
            }))?,
            Format::Text => report::say(&format!(
                "published {} to {}: {} written, {unchanged} there already",
                counted(issued.len() as u64, "alert", "alerts"),
                self.to,
                counted(written.len() as u64, "file", "files"),
            ))?,
        }
        Ok(Outcome::Done)
    }
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
        gate.judge_alert_file(&name, &file.name, &bytes)?;
        if sha256_of(&bytes) != file.sha256 {
            return Err(stopped(&name, "it is not what was issued", alert.number));
        }
        files.push((name, bytes));
    }
    Ok(files)
}

/// What lies beside the frozen files was not issued: somebody means it to be published, or put it there.
fn no_other_file(folder: &Path, alert: &IssuedAlert) -> Result<(), Failure> {
    let unreadable = |error| Failure::file("read", folder, &error);
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

fn listed(alert: &IssuedAlert) -> Listed {
    Listed {
        number: alert.number,
        issued_at: alert.issued_at,
        iso_week: alert.iso_week.clone(),
        protocol: alert.protocol.clone(),
        title: alert.title.clone(),
        replaces: alert.replaces,
        headline: alert.headline.clone(),
        summary: alert.summary.clone(),
        invented: alert.invented.clone(),
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
