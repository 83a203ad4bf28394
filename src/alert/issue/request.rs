//! What to issue: the alert of a week, or one in the place of another.

use crate::alert::chosen::publishing;
use crate::alert::issue::as_issued::{find, replaced_rows, week_of};
use crate::alert::issue::facts::Replaced;
use crate::workspace::Workspace;
use scouting::failure::{Failure, Kind};
use scouting::visit::week::IsoWeek;
use store::alerts::issued_alert::{Change, IssuedAlert};
use store::public::public_rows::Publishing;

/// What to issue.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum IssueRequest {
    /// The alert of a week under the protocol with this id.
    Week(IsoWeek, String),
    /// An alert in the place of the one with this number.
    Replacement(i64, Change),
}

/// What an alert is about, and what it replaces.
#[derive(Debug, Clone)]
pub(crate) struct Subject {
    pub(crate) week: IsoWeek,
    pub(crate) protocol: String,
    pub(crate) replaces: Option<Replaced>,
    /// The note of what it replaces.
    pub(crate) note_before: Option<String>,
}

impl Subject {
    /// What is published with it.
    pub(crate) fn publishing(&self) -> Publishing {
        publishing(self.week, &self.protocol)
    }
}

/// The alert of a week and protocol that counts: the newest, if it was not withdrawn.
pub(crate) fn in_force<'a>(
    issued: &'a [IssuedAlert],
    week: IsoWeek,
    protocol: &str,
) -> Option<&'a IssuedAlert> {
    let iso_week = week.to_string();
    let mut newest = issued.iter().rev();
    newest
        .find(|alert| alert.iso_week == iso_week && alert.protocol == protocol)
        .filter(|alert| alert.withdrawn.is_none())
}

/// The week and protocol of a request, and the rows that it replaces.
///
/// # Errors
/// A [`Failure`] if the week is issued already, or the alert cannot be replaced.
pub(crate) async fn subject(
    workspace: &Workspace,
    issued: &[IssuedAlert],
    request: &IssueRequest,
) -> Result<Subject, Failure> {
    let (number, change) = match request {
        IssueRequest::Replacement(number, change) => (*number, change),
        IssueRequest::Week(week, protocol) => {
            if let Some(alert) = in_force(issued, *week, protocol) {
                return Err(issued_already(*week, &[alert]));
            }
            return Ok(Subject {
                week: *week,
                protocol: protocol.clone(),
                replaces: None,
                note_before: None,
            });
        }
    };
    let replaced = find(issued, number)?;
    if replaced.withdrawn.is_some() {
        return Err(Failure::new(
            Kind::Publish,
            format!("alert {number} was withdrawn, so it cannot be replaced"),
        )
        .mend(format!(
            "issue the week again: bractline alert --week {} --protocol {} --issue",
            replaced.iso_week, replaced.protocol
        )));
    }
    let mut others = issued.iter();
    if let Some(other) = others.find(|other| other.replaces == Some(number)) {
        return Err(Failure::new(
            Kind::Publish,
            format!(
                "alert {number} was replaced by alert {} already",
                other.number
            ),
        )
        .mend(format!(
            "replace that one: bractline alert {}",
            change_option(other.number, change)
        )));
    }
    Ok(Subject {
        week: week_of(replaced)?,
        protocol: replaced.protocol.clone(),
        replaces: Some(replaced_rows(workspace, replaced, change).await?),
        note_before: replaced.note.clone(),
    })
}

fn change_option(number: i64, change: &Change) -> String {
    match change {
        Change::Update => format!("--reissue {number}"),
        Change::Correction(_) => format!("--correct {number} --reason TEXT"),
    }
}

/// The failure of a week whose alerts are all issued.
pub(crate) fn issued_already(week: IsoWeek, alerts: &[&IssuedAlert]) -> Failure {
    let said = alerts.iter();
    let said = said.map(|alert| {
        format!(
            "{week} under {} is issued already, as alert {}",
            alert.protocol, alert.number
        )
    });
    let numbers = alerts.iter().map(|alert| alert.number.to_string());
    let numbers = numbers.collect::<Vec<_>>().join(" ");
    Failure::new(Kind::Publish, said.collect::<Vec<_>>().join("; ")).mend(format!(
        "late reports make an update: bractline alert --reissue {numbers}; something wrong makes a correction: bractline \
         alert --correct NUMBER --reason TEXT"
    ))
}
