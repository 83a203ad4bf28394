//! Alerts issued in one go: first a look at what would become public, then one after the other.
//!
//! All are made and judged before the first is issued, so that a note or a file that the gate stops leaves none issued.
//! Each is issued whole or not at all; where one fails all the same, the failure says which were issued before it.

use jiff::Timestamp;
use serde_json::Value;

use super::as_issued::find;
use super::desk::Desk;
use super::issuing::issue_at;
use super::preview::{Already, Preview, already};
use super::report::Issued;
use super::request::{IssueRequest, in_force, issued_already, subject};
use super::settle::settle;
use crate::alert::chosen::{Choice, protocol_of};
use crate::alert::note::given::Notes;
use crate::alert::publish::rule::two_of_one_count;
use crate::figures::grid_setting::check_grid_not_lowered;
use crate::shared::report::{counted, list_or_only};
use crate::workspace::Workspace;
use crate::workspace::open::open_store;
use scouting::failure::{Failure, Kind};
use store::alerts::issued_alert::{Change, IssuedAlert};
use store::alerts::table::{AlertBook, issued_alerts};

/// What somebody wants issued.
#[derive(Debug, Clone)]
pub(crate) enum Wish {
    /// The alerts of a week that are not issued yet.
    Week(Choice),
    /// Updates of the alerts with these numbers.
    Updates(Vec<i64>),
    /// A correction of the alert with this number, and what was wrong.
    Correction(i64, String),
}

/// What would be issued.
pub(crate) struct Plan<'a> {
    desk: Desk<'a>,
    /// That the program chose the week, in words.
    newest: Option<String>,
    requests: Vec<IssueRequest>,
    /// Ids of their protocols.
    protocols: Vec<String>,
    notes: Notes,
    now: Timestamp,
    /// Whether it is one alert, and the person named it: nobody is asked then.
    is_named: bool,
    /// What each would make public; none where nobody is asked.
    previews: Vec<Preview>,
    already: Vec<Already>,
}

/// Alerts that were issued just now.
pub(crate) struct IssuedTogether {
    newest: Option<String>,
    issued: Vec<Issued>,
    already: Vec<Already>,
}

/// Plans what is to be issued from the newest figures.
///
/// # Errors
/// A [`Failure`] if one of the alerts may not be issued, or the gate stops it.
pub(crate) async fn plan<'a>(
    workspace: &'a Workspace,
    wish: &Wish,
    notes: Notes,
    now: Timestamp,
) -> Result<Plan<'a>, Failure> {
    let mut desk = Desk::open(workspace).await?;
    let book = AlertBook::open(&desk.store).await?;
    settle(workspace, book.issued())?;
    check_grid_not_lowered(workspace, book.issued())?;
    let mut plan_of = WishedAlerts::of(wish, &desk, book.issued())?;
    let ids: Vec<&str> = plan_of.protocols.iter().map(String::as_str).collect();
    notes.check(&ids)?;
    let mut previews = Vec::new();
    if !plan_of.is_named {
        check_thresholds(&desk, &ids)?;
        for request in &plan_of.requests {
            let subject = subject(workspace, book.issued(), request).await?;
            let note = notes.of(&subject.protocol, subject.note_before.as_deref());
            let made;
            (desk, made) = desk.make(&book, subject, note, now).await?;
            previews.push(Preview::of(&desk.figures, made)?);
        }
        for alert in std::mem::take(&mut plan_of.issued) {
            let found;
            (desk, found) = already(desk, &book, alert).await?;
            plan_of.already.push(found);
        }
    }
    Ok(Plan {
        desk,
        newest: plan_of.newest,
        requests: plan_of.requests,
        protocols: plan_of.protocols,
        notes,
        now,
        is_named: plan_of.is_named,
        previews,
        already: plan_of.already,
    })
}

/// The alerts of a wish, before any is made.
struct WishedAlerts {
    newest: Option<String>,
    requests: Vec<IssueRequest>,
    protocols: Vec<String>,
    is_named: bool,
    /// Alerts of the week that are issued already.
    issued: Vec<IssuedAlert>,
    already: Vec<Already>,
}

impl WishedAlerts {
    fn of(wish: &Wish, desk: &Desk, issued: &[IssuedAlert]) -> Result<WishedAlerts, Failure> {
        let (numbers, change) = match wish {
            Wish::Week(choice) => return WishedAlerts::of_week(choice, desk, issued),
            Wish::Updates(numbers) => (numbers.clone(), Change::Update),
            Wish::Correction(number, reason) => {
                (vec![*number], Change::Correction(Some(reason.clone())))
            }
        };
        let protocols = numbers.iter().map(|number| {
            let alert = find(issued, *number)?;
            Ok(alert.protocol.clone())
        });
        Ok(WishedAlerts {
            newest: None,
            protocols: protocols.collect::<Result<_, Failure>>()?,
            is_named: numbers.len() == 1,
            requests: numbers
                .into_iter()
                .map(|number| IssueRequest::Replacement(number, change.clone()))
                .collect(),
            issued: Vec::new(),
            already: Vec::new(),
        })
    }

    fn of_week(
        choice: &Choice,
        desk: &Desk,
        issued: &[IssuedAlert],
    ) -> Result<WishedAlerts, Failure> {
        let (week, protocols) = choice.of(&desk.figures)?;
        let (mut requests, mut ids, mut there) = (Vec::new(), Vec::new(), Vec::new());
        for protocol in &protocols {
            match in_force(issued, week, &protocol.id) {
                Some(alert) => there.push(alert),
                None => {
                    requests.push(IssueRequest::Week(week, protocol.id.clone()));
                    ids.push(protocol.id.clone());
                }
            }
        }
        if requests.is_empty() {
            return Err(issued_already(week, &there));
        }
        Ok(WishedAlerts {
            newest: choice.newest(week, &desk.figures.setting.weeks),
            requests,
            protocols: ids,
            is_named: choice.week.is_some() && protocols.len() == 1,
            issued: there.into_iter().cloned().collect(),
            already: Vec::new(),
        })
    }
}

/// Two alerts that publishing would refuse together are not issued together.
fn check_thresholds(desk: &Desk, ids: &[&str]) -> Result<(), Failure> {
    let protocols = ids.iter().map(|id| protocol_of(&desk.figures, id));
    let protocols = protocols.collect::<Result<Vec<_>, _>>()?;
    two_of_one_count(protocols).map_or(Ok(()), |found| {
        Err(
            Failure::new(Kind::Publish, format!("nothing was issued: alerts of {found}")).mend(
                "choose one of them with --protocol ID: two thresholds for one count reveal the fields between them",
            ),
        )
    })
}

impl Plan<'_> {
    /// Whether a person is to confirm it: it is more than one alert, or the program chose the week.
    pub(crate) fn needs_confirmation(&self) -> bool {
        !self.is_named
    }

    /// The alerts in a few words: `2 alerts of bsm-eggs, rssw`.
    pub(crate) fn in_words(&self) -> String {
        format!(
            "{} of {}",
            counted(self.requests.len() as u64, "alert", "alerts"),
            self.protocols.join(", ")
        )
    }

    /// What would become public, for people.
    pub(crate) fn text(&self) -> String {
        let newest = self.newest.clone();
        let rows: usize = self.previews.iter().map(Preview::rows_made_public).sum();
        let start = format!(
            "would issue {}, and make {} public for good:",
            counted(self.previews.len() as u64, "alert", "alerts"),
            counted(rows as u64, "row", "rows")
        );
        let previews = self.previews.iter().map(Preview::text);
        let already = self.already.iter().map(Already::text);
        let lines = newest
            .into_iter()
            .chain([start])
            .chain(previews)
            .chain(already);
        lines.collect::<Vec<_>>().join("\n")
    }

    /// Issues all of it.
    ///
    /// # Errors
    /// A [`Failure`] that says which alerts were issued before it.
    pub(crate) async fn issue(self) -> Result<IssuedTogether, Failure> {
        let workspace = self.desk.workspace;
        let mut desk = self.desk;
        let mut issued = Vec::new();
        for (place, request) in self.requests.iter().enumerate() {
            let confirmed = self.previews.get(place).map(Preview::rows);
            let one = issue_at(desk, request, &self.notes, confirmed, self.now).await;
            match one {
                Ok((open, one)) => {
                    desk = open;
                    issued.push(one);
                }
                Err(failure) if self.requests.len() == 1 => return Err(failure),
                Err(failure) => {
                    return Err(stopped(workspace, failure, &self.protocols, self.now).await);
                }
            }
        }
        Ok(IssuedTogether {
            newest: self.newest,
            issued,
            already: self.already,
        })
    }
}

/// A failure among several alerts, with those that were issued all the same: as the table says, which alone decides.
async fn stopped(
    workspace: &Workspace,
    failure: Failure,
    protocols: &[String],
    now: Timestamp,
) -> Failure {
    let found = match open_store(workspace).await {
        Ok(store) => issued_alerts(&store).await,
        Err(unreadable) => Err(unreadable),
    };
    let said = match found {
        Err(_) => "which alerts were issued before that, `bractline alert --list` says".to_owned(),
        Ok(alerts) => {
            let of_this_run = |alert: &&IssuedAlert| {
                alert.issued_at.as_microsecond() == now.as_microsecond()
                    && protocols.contains(&alert.protocol)
            };
            let issued: Vec<&IssuedAlert> = alerts.iter().filter(of_this_run).collect();
            let left = protocols
                .iter()
                .filter(|id| issued.iter().all(|alert| alert.protocol != **id));
            let named = issued
                .iter()
                .map(|alert| format!("alert {} ({})", alert.number, alert.protocol));
            let (named, left): (Vec<String>, Vec<&str>) =
                (named.collect(), left.map(String::as_str).collect());
            match (named.is_empty(), left.is_empty()) {
                (true, _) => "none was issued".to_owned(),
                (_, true) => format!("all were issued: {}", named.join(", ")),
                _ => format!(
                    "issued: {}; not issued: {}",
                    named.join(", "),
                    left.join(", ")
                ),
            }
        }
    };
    let help = failure
        .help()
        .map_or_else(String::new, |help| format!("{help}; "));
    let told = Failure::new(failure.kind(), format!("{}; {said}", failure.what())).mend(format!(
        "{help}then issue again: what is issued is left as it is"
    ));
    let told = match failure.place() {
        Some(place) => told.at(place),
        None => told,
    };
    told.caused_by(failure)
}

impl IssuedTogether {
    /// For programs: each alert in `alerts`, and the members of an only one at the top as well.
    pub(crate) fn json(&self) -> Value {
        let alerts = self.issued.iter().map(Issued::json);
        list_or_only("alerts", alerts.collect())
    }

    /// For people.
    pub(crate) fn text(&self) -> String {
        let newest = self.newest.clone();
        let issued = self.issued.iter().map(Issued::text);
        let already = self.already.iter().map(Already::text);
        let lines = newest.into_iter().chain(issued).chain(already);
        lines.collect::<Vec<_>>().join("\n")
    }
}
