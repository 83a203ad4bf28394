//! What is issued: listed, and built again to compare it with what was frozen.

use std::path::Path;

use super::alert::Built;
use super::issuing::{
    Subject, build_issue, figures_as_issued, find, frozen, replaced_rows, settle, week_of,
};
use super::{Format, Outcome, open_store};
use crate::alert::issue::facts::{Issue, folder_name, minute};
use crate::failure::{Failure, Kind};
use crate::shared::files::{borrowed, write_folder};
use crate::shared::report;
use crate::store::alerts::{IssuedAlert, issued_alerts};
use crate::workspace::Workspace;

/// An issued alert for programs.
pub(super) fn in_json(alert: &IssuedAlert, folder: &Path) -> serde_json::Value {
    serde_json::json!({
        "number": alert.number,
        "issued_at": alert.issued_at.to_string(),
        "iso_week": alert.iso_week,
        "protocol": alert.protocol,
        "replaces": alert.replaces,
        "store_version": alert.store_version,
        "program_version": alert.program_version,
        "headline": alert.headline,
        "withdrawn": alert.withdrawn.as_ref().map(|withdrawn| serde_json::json!({
            "at": withdrawn.at.to_string(),
            "reason": withdrawn.reason,
        })),
        "rows_made_public": alert.public_rows.as_ref().map_or(0, Vec::len),
        "folder": folder,
        "files": alert.files,
    })
}

pub(super) async fn list(workspace: &Workspace, format: Format) -> Result<Outcome, Failure> {
    let issued = issued_alerts(&open_store(workspace).await?).await?;
    settle(workspace, &issued)?;
    match format {
        Format::Json => {
            let alerts = issued
                .iter()
                .map(|alert| in_json(alert, &workspace.issued().join(folder_name(alert.number))));
            report::say_json(&serde_json::json!({ "alerts": alerts.collect::<Vec<_>>() }))?;
        }
        Format::Text if issued.is_empty() => report::say("no alert is issued yet")?,
        Format::Text => {
            let lines = issued.iter().map(|alert| {
                let correction = alert
                    .replaces
                    .map_or_else(String::new, |number| format!(", replaces {number}"));
                let withdrawn = alert
                    .withdrawn
                    .as_ref()
                    .map_or_else(String::new, |withdrawn| {
                        format!(", WITHDRAWN {}: {}", minute(withdrawn.at), withdrawn.reason)
                    });
                format!(
                    "{}  {} {}, issued {}, store version {}{correction}{withdrawn}: {}",
                    folder_name(alert.number),
                    alert.iso_week,
                    alert.protocol,
                    minute(alert.issued_at),
                    alert.store_version,
                    alert.headline
                )
            });
            report::say(&lines.collect::<Vec<_>>().join("\n"))?;
        }
    }
    Ok(Outcome::Done)
}

/// Builds an alert again and compares every file with what was frozen.
pub(super) async fn as_issued(
    workspace: &Workspace,
    number: i64,
    out: Option<&Path>,
    format: Format,
) -> Result<Outcome, Failure> {
    let issued = issued_alerts(&open_store(workspace).await?).await?;
    settle(workspace, &issued)?;
    let alert = find(&issued, number)?;
    let built = build_again(workspace, &issued, alert).await?;
    let again = frozen(&built);
    let other: Vec<&str> = alert
        .files
        .iter()
        .filter(|file| !again.contains(file))
        .map(|file| file.name.as_str())
        .collect();
    if let Some(out) = out {
        write_folder(out, &borrowed(&built.files))?;
    }
    let same_program = alert.program_version == env!("CARGO_PKG_VERSION");
    match format {
        Format::Json => report::say_json(&serde_json::json!({
            "number": number,
            "store_version": alert.store_version,
            "issued_by": alert.program_version,
            "built_by": env!("CARGO_PKG_VERSION"),
            "same": other.is_empty(),
            "files": alert.files,
            "other": other,
        }))?,
        Format::Text if other.is_empty() => report::say(&format!(
            "alert {number}: built again from store version {}: {}, each the same byte for byte",
            alert.store_version,
            report::counted(alert.files.len() as u64, "file", "files")
        ))?,
        Format::Text => {}
    }
    if other.is_empty() {
        return Ok(Outcome::Done);
    }
    let why = match same_program {
        true => "the same program built both: the store, or a file that it rests on, is not what it was; \
                 see `bractline store verify`"
            .to_owned(),
        false => format!(
            "bractline {} issued it and {} built it again: wording, drawing or rounding may have changed \
             between them; build it with the former to compare",
            alert.program_version,
            env!("CARGO_PKG_VERSION")
        ),
    };
    Err(Failure::new(
        Kind::Damaged,
        format!(
            "alert {number} comes out otherwise than it was issued: {}",
            other.join(", ")
        ),
    )
    .mend(why))
}

async fn build_again(
    workspace: &Workspace,
    issued: &[IssuedAlert],
    alert: &IssuedAlert,
) -> Result<Built, Failure> {
    let (snapshot, figures) = figures_as_issued(workspace, alert).await?;
    let figures = figures.with_arrivals(&snapshot).await?;
    let replaces = match alert.replaces {
        Some(number) => Some(replaced_rows(workspace, find(issued, number)?).await?),
        None => None,
    };
    let issue = Issue {
        number: alert.number,
        issued_at: alert.issued_at,
        replaces: replaces.clone(),
    };
    let subject = Subject {
        week: week_of(alert)?,
        protocol: alert.protocol.clone(),
        replaces,
        note_before: None,
    };
    build_issue(&figures, &subject, alert.note.as_deref(), &issue)
}
