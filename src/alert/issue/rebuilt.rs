//! Builds an issued alert again, and compares it with what was frozen.

use std::path::Path;

use serde_json::{Value, json};

use super::as_issued::{figures_as_issued, find, replaced_rows, week_of};
use super::desk::build_issue;
use super::issuing::frozen;
use super::request::Subject;
use super::settle::settle;
use crate::alert::build::Built;
use crate::alert::issue::facts::Issue;
use crate::shared::files::{borrowed, write_folder};
use crate::shared::report::counted;
use crate::workspace::Workspace;
use crate::workspace::open::open_store;
use scouting::failure::{Failure, Kind};
use store::alerts::issued_alert::IssuedAlert;
use store::alerts::table::issued_alerts;

/// The issued alerts; each has its folder when this returns.
pub(crate) async fn listed(workspace: &Workspace) -> Result<Vec<IssuedAlert>, Failure> {
    let issued = issued_alerts(&open_store(workspace).await?).await?;
    settle(workspace, &issued)?;
    Ok(issued)
}

/// An alert that was built again, compared with what was frozen.
pub(crate) struct Rebuilt {
    alert: IssuedAlert,
    /// Names of the files that come out otherwise.
    other: Vec<String>,
}

/// Builds an alert again and compares every file with what was frozen; writes the files to `out`, if it is named.
pub(crate) async fn rebuild(
    workspace: &Workspace,
    number: i64,
    out: Option<&Path>,
) -> Result<Rebuilt, Failure> {
    let issued = listed(workspace).await?;
    let alert = find(&issued, number)?;
    let built = build_again(workspace, &issued, alert).await?;
    let again = frozen(&built);
    let other = alert.files.iter().filter(|file| !again.contains(file));
    let other = other.map(|file| file.name.clone()).collect();
    if let Some(out) = out {
        write_folder(out, &borrowed(&built.files))?;
    }
    Ok(Rebuilt {
        alert: alert.clone(),
        other,
    })
}

impl Rebuilt {
    /// For programs.
    pub(crate) fn json(&self) -> Value {
        json!({
            "number": self.alert.number,
            "store_version": self.alert.store_version,
            "issued_by": self.alert.program_version,
            "built_by": env!("CARGO_PKG_VERSION"),
            "same": self.other.is_empty(),
            "files": self.alert.files,
            "other": self.other,
        })
    }

    /// For people, if every file is the same.
    pub(crate) fn text(&self) -> Option<String> {
        self.other.is_empty().then(|| {
            format!(
                "alert {}: rebuilt from store version {}: {}, each identical byte for byte",
                self.alert.number,
                self.alert.store_version,
                counted(self.alert.files.len() as u64, "file", "files")
            )
        })
    }

    /// # Errors
    /// A [`Failure`] that names the files that come out otherwise, and says why that may be.
    pub(crate) fn check(&self) -> Result<(), Failure> {
        if self.other.is_empty() {
            return Ok(());
        }
        let same_program = self.alert.program_version == env!("CARGO_PKG_VERSION");
        let why = match same_program {
            true => "the same program built both: the store, or a file that it is based on, has changed; see `bractline store verify`"
                .to_owned(),
            false => format!(
                "bractline {} issued it and {} built it again: wording, drawing or rounding may have changed \
                 between them; build it with the former to compare",
                self.alert.program_version,
                env!("CARGO_PKG_VERSION")
            ),
        };
        Err(Failure::new(
            Kind::Damaged,
            format!(
                "alert {} comes out otherwise than it was issued: {}",
                self.alert.number,
                self.other.join(", ")
            ),
        )
        .mend(why))
    }
}

async fn build_again(
    workspace: &Workspace,
    issued: &[IssuedAlert],
    alert: &IssuedAlert,
) -> Result<Built, Failure> {
    let (snapshot, figures) = figures_as_issued(workspace, alert).await?;
    let figures = figures.with_arrivals(&snapshot).await?;
    let replaces = match (alert.replaces, &alert.change) {
        (Some(number), Some(change)) => {
            Some(replaced_rows(workspace, find(issued, number)?, change).await?)
        }
        _ => None,
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
