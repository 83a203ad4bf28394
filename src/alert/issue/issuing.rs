//! Issuing: an alert gets its number and is frozen, is corrected by another, or is built again.
//!
//! The files are on the disk, under a name that nobody reads, before the row of the table `alerts` names
//! them; with the row the alert is issued, and its folder gets its number. Whoever comes next gives a
//! folder its number that a kill left without.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use arrow::array::AsArray;
use arrow::datatypes::{Float64Type, Int32Type};
use jiff::Timestamp;
use uuid::Uuid;

use super::as_issued::{find, replaced_rows, week_of};
use super::report::Issued;
use crate::alert::build::{Built, build};
use crate::alert::chosen::{chosen_protocol, publishing};
use crate::alert::confidences::{confidences, gate};
use crate::alert::heat_note::note_heat;
use crate::alert::inputs::{Inputs, sha256_of};
use crate::alert::issue::facts::{Issue, Replaced, folder_name};
use crate::alert::note::rendered::Note;
use crate::alert::week_pages::write_week_page;
use crate::figures::grid_setting::check_grid_not_lowered;
use crate::figures::rolled_up::Figures;
use crate::figures::week_setting::check_week_start;
use crate::shared::files::{borrowed, write_private_folder};
use crate::workspace::Workspace;
use crate::workspace::open::open_store;
use scouting::failure::{Failure, Kind};
use scouting::visit::week::IsoWeek;
use store::alerts::issued_alert::{FrozenFile, IssuedAlert};
use store::alerts::table::{AlertBook, issued_alerts, published_rows};
use store::delta::append::Sealed;
use store::public::public_rows::Publishing;

/// An issue that is overtaken more often than this gives up.
const ATTEMPTS_MAX: usize = 50;

/// What to issue.
#[derive(Debug, Clone)]
pub(crate) enum IssueRequest {
    /// The alert of a week, under a protocol or the only one.
    Week(IsoWeek, Option<String>),
    /// A correction of the alert with this number.
    Correction(i64),
}

/// The note that an alert is to have.
#[derive(Debug, Clone)]
pub(crate) enum NoteChoice {
    /// This one.
    Text(String),
    /// None.
    None,
    /// That of the alert that it corrects, if it corrects one.
    AsBefore,
}

impl NoteChoice {
    /// The note, given that of the alert that is corrected.
    pub(crate) fn of(self, before: Option<&str>) -> Option<String> {
        match self {
            NoteChoice::Text(text) => Some(text),
            NoteChoice::None => None,
            NoteChoice::AsBefore => before.map(str::to_owned),
        }
    }
}

/// What an alert is about, and what it replaces.
pub(crate) struct Subject {
    pub(crate) week: IsoWeek,
    pub(crate) protocol: String,
    pub(crate) replaces: Option<Replaced>,
    /// The note of what it replaces.
    pub(crate) note_before: Option<String>,
}

/// Issues an alert.
///
/// # Errors
/// A [`Failure`] if it may not be issued, or the gate stops one of its files.
pub(crate) async fn issue(
    workspace: &Workspace,
    request: &IssueRequest,
    note: NoteChoice,
    now: Timestamp,
) -> Result<Issued, Failure> {
    let store = open_store(workspace).await?;
    let inputs = Inputs::of_now(workspace)?;
    let nothing = Publishing::Nothing;
    let (issued, published) = (issued_alerts(&store).await?, published_rows(&store).await?);
    if let IssueRequest::Week(week, _) = request {
        check_week_start(workspace, week.season(), &issued, &published)?;
    }
    let (snapshot, mut figures) = inputs
        .figures(workspace, None, &published, &nothing, &[])
        .await?;
    let confidences = confidences(&store).await?;
    let mut gate = gate(workspace, &inputs, &figures.region, &confidences)?;
    for _ in 0..ATTEMPTS_MAX {
        let book = AlertBook::open(&store).await?;
        settle(workspace, book.issued())?;
        check_grid_not_lowered(workspace, book.issued())?;
        let subject = subject(workspace, &figures, &book, request).await?;
        let note = note.clone().of(subject.note_before.as_deref());
        if let Some(note) = &note {
            gate.judge_note(note, &confidences.points)?;
        }
        let published = book.published();
        let publishing = publishing(subject.week, &subject.protocol);
        figures = figures.publishing(&published, &publishing).await?;
        figures = figures.with_arrivals(&snapshot).await?;
        let issue = Issue {
            number: book.next_number(),
            // The table keeps microseconds; so do the files.
            issued_at: Timestamp::from_microsecond(now.as_microsecond()).unwrap_or(now),
            replaces: subject.replaces.clone(),
        };
        let built = build_issue(&figures, &subject, note.as_deref(), &issue)?;
        let folder = folder_name(issue.number);
        gate.allow_rows(published.iter().map(|one| &one.entry));
        gate.allow_rows(&figures.entering);
        for (name, bytes) in &built.files {
            let file = format!("{folder}/{name}");
            gate.judge_alert_file(&file, name, bytes, &subject.protocol)?;
        }
        let alert = row(&figures, &inputs, &subject, &issue, &built, note);
        inputs.keep_files(workspace)?;
        let staged = staged_folder(workspace, &alert);
        write_private_folder(&staged, &borrowed(&built.files))?;
        match book.enter(&store, &alert).await {
            Ok(Sealed::Done) => {
                settle(workspace, std::slice::from_ref(&alert))?;
                let mut issued = book.issued().to_vec();
                issued.push(alert.clone());
                write_week_page(workspace, &figures, subject.week, &issued)?;
                note_heat(&figures, subject.week, &subject.protocol);
                return Ok(Issued {
                    folder: workspace.issued().join(folder_name(alert.number)),
                    alert,
                    withheld: figures.counties_withheld(),
                });
            }
            // What was built bears a number that is another's now.
            Ok(Sealed::Overtaken) => remove(&staged),
            // Whether the row is there is not known: if it is, the next command finds the folder.
            Err(failure) => return Err(failure),
        }
    }
    Err(
        Failure::new(Kind::Busy, "cannot issue: the table of alerts stayed busy")
            .mend("issue again when the other commands have finished; nothing was issued"),
    )
}

/// The week and protocol, and for a correction the rows that it corrects.
async fn subject(
    workspace: &Workspace,
    figures: &Figures,
    book: &AlertBook,
    request: &IssueRequest,
) -> Result<Subject, Failure> {
    let number = match request {
        IssueRequest::Correction(number) => *number,
        IssueRequest::Week(week, protocol) => {
            let protocol = chosen_protocol(figures, *week, protocol.as_deref())?;
            let iso_week = week.to_string();
            let newest = book
                .issued()
                .iter()
                .rev()
                .find(|alert| alert.iso_week == iso_week && alert.protocol == protocol.id)
                .filter(|alert| alert.withdrawn.is_none());
            if let Some(alert) = newest {
                return Err(Failure::new(
                    Kind::Publish,
                    format!(
                        "{week} under {} is issued already, as alert {}",
                        protocol.id, alert.number
                    ),
                )
                .mend(format!(
                    "correct it: bractline alert --reissue {}",
                    alert.number
                )));
            }
            return Ok(Subject {
                week: *week,
                protocol: protocol.id.clone(),
                replaces: None,
                note_before: None,
            });
        }
    };
    let replaced = find(book.issued(), number)?;
    if replaced.withdrawn.is_some() {
        return Err(Failure::new(
            Kind::Publish,
            format!("alert {number} was withdrawn, so it cannot be corrected"),
        )
        .mend(format!(
            "issue the week again: bractline alert --week {} --protocol {} --issue",
            replaced.iso_week, replaced.protocol
        )));
    }
    if let Some(other) = book
        .issued()
        .iter()
        .find(|other| other.replaces == Some(number))
    {
        return Err(Failure::new(
            Kind::Publish,
            format!(
                "alert {number} was replaced by alert {} already",
                other.number
            ),
        )
        .mend(format!(
            "correct that one: bractline alert --reissue {}",
            other.number
        )));
    }
    Ok(Subject {
        week: week_of(replaced)?,
        protocol: replaced.protocol.clone(),
        replaces: Some(replaced_rows(workspace, replaced).await?),
        note_before: replaced.note.clone(),
    })
}

pub(crate) fn build_issue(
    figures: &Figures,
    subject: &Subject,
    note: Option<&str>,
    issue: &Issue,
) -> Result<Built, Failure> {
    let protocol = chosen_protocol(figures, subject.week, Some(&subject.protocol))?;
    let note = note.map(Note::read).transpose()?;
    build(figures, subject.week, protocol, note.as_ref(), Some(issue))
}

fn row(
    figures: &Figures,
    inputs: &Inputs,
    subject: &Subject,
    issue: &Issue,
    built: &Built,
    note: Option<String>,
) -> IssuedAlert {
    let visited = figures.visited();
    let used: BTreeSet<&str> = visited.iter().map(|(_, id)| id.as_str()).collect();
    let is_used = |id: &str| id == subject.protocol || used.contains(id);
    let protocols = inputs.protocols.iter().filter(|(id, _)| is_used(id));
    let clumping = |name: &str| season_figure(figures, subject, name);
    IssuedAlert {
        number: issue.number,
        issue_id: Uuid::now_v7().to_string(),
        issued_at: issue.issued_at,
        iso_week: subject.week.to_string(),
        protocol: subject.protocol.clone(),
        replaces: subject.replaces.as_ref().map(|replaced| replaced.number),
        store_version: figures.rollup.store_version,
        program_version: env!("CARGO_PKG_VERSION").to_owned(),
        files: frozen(built),
        headline: built.headline.clone(),
        summary: built.summary.clone(),
        title: built.title.clone(),
        invented: figures.region.invented().map(str::to_owned),
        note,
        settings: inputs.settings.clone(),
        protocols: protocols
            .map(|(id, text)| (id.clone(), text.clone()))
            .collect::<BTreeMap<_, _>>(),
        boundaries_sha256: inputs.boundaries_sha256(),
        weather_sha256: inputs.weather_sha256(),
        logo_sha256: inputs.logo_sha256(),
        public_rows: Some(figures.entering.clone()),
        season_k: clumping("season_k"),
        season_k_information: clumping("season_k_information"),
        withdrawn: None,
    }
}

/// A figure of the season that every field-week of it has, under the alert's protocol; `None` without visits.
fn season_figure(figures: &Figures, subject: &Subject, name: &str) -> Option<f64> {
    let field_week = &figures.rollup.field_week().batch;
    let seasons = field_week["season"].as_primitive::<Int32Type>();
    let protocols = field_week["protocol"].as_string::<i32>();
    let mut rows = 0..field_week.num_rows();
    let row = rows.find(|row| {
        seasons.value(*row) == subject.week.season() && protocols.value(*row) == subject.protocol
    })?;
    Some(field_week[name].as_primitive::<Float64Type>().value(row))
}

pub(crate) fn frozen(built: &Built) -> Vec<FrozenFile> {
    let files = built.files.iter();
    files
        .map(|(name, bytes)| FrozenFile {
            name: (*name).to_owned(),
            bytes: bytes.len() as u64,
            sha256: sha256_of(bytes),
        })
        .collect()
}

/// Where the files are until their row is there; readers pass over a name that begins with a dot.
fn staged_folder(workspace: &Workspace, alert: &IssuedAlert) -> PathBuf {
    let name = format!(".{}-{}", folder_name(alert.number), alert.issue_id);
    workspace.issued().join(name)
}

/// Gives each issued alert's folder its number, where a kill came between the row and the name.
pub(crate) fn settle(workspace: &Workspace, issued: &[IssuedAlert]) -> Result<(), Failure> {
    for alert in issued {
        let staged = staged_folder(workspace, alert);
        let folder = workspace.issued().join(folder_name(alert.number));
        if !staged.is_dir() {
            continue;
        }
        match std::fs::rename(&staged, &folder) {
            Ok(()) => {}
            // Somebody else was quicker.
            Err(_) if folder.is_dir() && !staged.is_dir() => {}
            Err(error) => return Err(Failure::file("give its number to", &staged, error)),
        }
    }
    Ok(())
}

fn remove(folder: &Path) {
    if let Err(error) = std::fs::remove_dir_all(folder) {
        tracing::warn!(%error, folder = %folder.display(), "could not remove what was not issued");
    }
}
