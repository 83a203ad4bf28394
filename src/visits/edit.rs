//! A visit changed by the office: its next revision, judged as every submission is.

use jiff::Timestamp;
use serde::Serialize;

use super::leaves::{Difference, differences};
use super::setting::{Setting, with_settings};
use super::show::no_such_visit;
use crate::load::loader::refused;
use crate::load::own::{Own, load_decided, own_loader};
use crate::shared::unseen::plain_text;
use crate::workspace::Workspace;
use crate::workspace::open::open_store;
use scouting::failure::{Failure, Kind};
use scouting::visit::record::Visit;
use store::delta::snapshot::Snapshot;
use store::delta::tables::Store;

/// An edit, as a person asks for it.
#[derive(Debug, Clone)]
pub(crate) struct Edit {
    pub(crate) visit_id: String,
    pub(crate) settings: Vec<Setting>,
    pub(crate) reason: String,
    pub(crate) who: String,
    pub(crate) now: Timestamp,
}

/// What an edit changed, or would change.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Edited {
    visit_id: String,
    revision: u32,
    changed: Vec<Difference>,
    /// Codes of what is doubtful about the new revision.
    flags: Vec<String>,
    /// Whether it withdraws the visit, as the revision before may have.
    withdrawn: bool,
    /// The load that the edit is; `None` if it was only looked at.
    load: Option<String>,
}

/// What an edit would change; nothing is changed.
///
/// # Errors
/// If it would not be accepted.
pub(crate) async fn preview(workspace: &Workspace, edit: &Edit) -> Result<Edited, Failure> {
    let store = open_store(workspace).await?;
    let (own, edited) = decided(&store, edit).await?;
    let mut loader = own_loader(workspace, false).await?;
    let account = loader.check_own(&own, edit.now).await?;
    if let Some(held) = account.held.first().first() {
        return Err(refused(
            &own.name,
            held.visit_id.as_deref(),
            held.findings.first(),
        ));
    }
    Ok(Edited {
        flags: account.flags.keys().map(ToString::to_string).collect(),
        ..edited
    })
}

/// Makes the edit.
///
/// # Errors
/// If it is not accepted: then nothing is changed.
pub(crate) async fn edit(workspace: &Workspace, edit: &Edit) -> Result<Edited, Failure> {
    let store = open_store(workspace).await?;
    let decide = async || decided(&store, edit).await;
    let (account, edited) = load_decided(workspace, false, edit.now, decide).await?;
    Ok(Edited {
        flags: account.flags.keys().map(ToString::to_string).collect(),
        load: Some(account.load_id),
        ..edited
    })
}

async fn decided(store: &Store, edit: &Edit) -> Result<(Own, Edited), Failure> {
    let snapshot = Snapshot::open(store, 1).await?;
    let revisions = snapshot.revisions_of_visit(&edit.visit_id).await?;
    let Some(current) = revisions.last() else {
        return Err(no_such_visit(&edit.visit_id, 0));
    };
    let edited = with_settings(&current.visit, &edit.settings)?;
    let changed = differences(&current.visit, &edited);
    if changed.is_empty() {
        return Err(Failure::new(
            Kind::Settings,
            format!("cannot edit {}: it has these values already", edit.visit_id),
        )
        .mend("`bractline visit show ID` shows its values; nothing was changed"));
    }
    let visit = Visit {
        revision: current.visit.revision + 1,
        ..edited
    };
    let edited = Edited {
        visit_id: visit.visit_id.clone(),
        revision: visit.revision,
        changed,
        flags: Vec::new(),
        withdrawn: visit.retracted == Some(true),
        load: None,
    };
    let own = Own {
        name: format!("edit of {}", edit.visit_id),
        revisions: vec![(visit, current.sender.clone())],
        reason: edit.reason.clone(),
        who: edit.who.clone(),
        decided_on: snapshot.receipts().version(),
        ..Own::default()
    };
    Ok((own, edited))
}

impl Edited {
    /// The edit for people.
    pub(crate) fn text(&self) -> String {
        let what = match &self.load {
            Some(load) => format!("is stored as load {load}"),
            None => "would be stored".to_owned(),
        };
        let visit_id = plain_text(&self.visit_id);
        let mut lines = vec![format!("revision {} of {visit_id} {what}", self.revision)];
        lines.extend(
            self.changed
                .iter()
                .map(|changed| format!("  {}", changed.text())),
        );
        if self.withdrawn {
            lines.push(
                "  the visit is withdrawn and counts nowhere; --remove /retracted brings it back"
                    .to_owned(),
            );
        }
        lines.extend(self.flags.iter().map(|flag| format!("  flag {flag}")));
        lines.join("\n")
    }
}
