//! Issuing: an alert gets its number and is frozen.
//!
//! The files are on the disk, under a name that nobody reads, before the row of the table `alerts` names
//! them; with the row the alert is issued, and its folder gets its number. Whoever comes next gives a
//! folder its number that a kill left without.

use std::collections::{BTreeMap, BTreeSet};

use arrow::array::AsArray;
use arrow::datatypes::{Float64Type, Int32Type};
use jiff::Timestamp;
use uuid::Uuid;

use super::desk::{Desk, Made};
use super::report::Issued;
use super::request::{IssueRequest, Subject, subject};
use super::settle::{remove, settle, staged_folder};
use crate::alert::build::Built;
use crate::alert::heat_note::note_heat;
use crate::alert::inputs::{Inputs, sha256_of};
use crate::alert::issue::facts::folder_name;
use crate::alert::note::given::Notes;
use crate::alert::week_pages::{WeekOf, write_week_page};
use crate::figures::grid_setting::check_grid_not_lowered;
use crate::figures::map::small_map::SmallMaps;
use crate::figures::rolled_up::Figures;
use crate::shared::files::{borrowed, write_private_folder};
use crate::workspace::Workspace;
use disclosure::public_row::PublicRow;
use scouting::failure::{Failure, Kind};
use store::alerts::issued_alert::{FrozenFile, IssuedAlert};
use store::alerts::table::{AlertBook, published_rows};
use store::delta::append::Sealed;

/// An issue that is overtaken more often than this gives up.
const ATTEMPTS_MAX: usize = 50;

/// Issues an alert.
///
/// # Errors
/// A [`Failure`] if it may not be issued, or the gate stops one of its files.
pub(crate) async fn issue(
    workspace: &Workspace,
    request: &IssueRequest,
    notes: &Notes,
    now: Timestamp,
) -> Result<Issued, Failure> {
    let desk = Desk::open(workspace).await?;
    let (_, issued) = issue_at(desk, request, notes, None, now).await?;
    Ok(issued)
}

/// Issues an alert at a desk that is open, and gives the desk back. `confirmed` are the rows that a person confirmed: if
/// the alert would show others by now, it is not issued.
///
/// # Errors
/// As [`issue`].
pub(super) async fn issue_at<'a>(
    mut desk: Desk<'a>,
    request: &IssueRequest,
    notes: &Notes,
    confirmed: Option<&[PublicRow]>,
    now: Timestamp,
) -> Result<(Desk<'a>, Issued), Failure> {
    let workspace = desk.workspace;
    for _ in 0..ATTEMPTS_MAX {
        let book = AlertBook::open(&desk.store).await?;
        settle(workspace, book.issued())?;
        check_grid_not_lowered(workspace, book.issued())?;
        let subject = subject(workspace, book.issued(), request).await?;
        let note = notes.of(&subject.protocol, subject.note_before.as_deref());
        let made;
        (desk, made) = desk.make(&book, subject, note, now).await?;
        if confirmed.is_some_and(|rows| rows != made.rows) {
            return Err(others_published(&made.subject));
        }
        let alert = row(&desk.figures, &desk.inputs, &made);
        desk.inputs.keep_files(workspace)?;
        let staged = staged_folder(workspace, &alert);
        write_private_folder(&staged, &borrowed(&made.built.files))?;
        match book.enter(&desk.store, &alert).await {
            Ok(Sealed::Done) => {
                settle(workspace, std::slice::from_ref(&alert))?;
                let mut issued = book.issued().to_vec();
                issued.push(alert.clone());
                let week_of = WeekOf {
                    week: made.subject.week,
                    issued: &issued,
                    published: &published_rows(&desk.store).await?,
                    drafted: &BTreeMap::new(),
                };
                let maps = SmallMaps::of(&desk.figures.region);
                write_week_page(workspace, &desk.figures, &maps, &week_of)?;
                note_heat(&desk.figures, made.subject.week, &made.subject.protocol);
                let issued = Issued {
                    folder: workspace.issued().join(folder_name(alert.number)),
                    alert,
                    withheld: desk.figures.counties_withheld(),
                };
                return Ok((desk, issued));
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

fn others_published(subject: &Subject) -> Failure {
    Failure::new(
        Kind::Busy,
        format!(
            "the alert of {}, {} was not issued: somebody published meanwhile, and it would show other rows than were \
             confirmed",
            subject.week, subject.protocol
        ),
    )
    .mend("issue again, and look at what it shows now")
}

/// The row of an alert that was made.
fn row(figures: &Figures, inputs: &Inputs, made: &Made) -> IssuedAlert {
    let Made {
        subject,
        issue,
        built,
        note,
        ..
    } = made;
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
        change: subject
            .replaces
            .as_ref()
            .map(|replaced| replaced.change.clone()),
        store_version: figures.rollup.store_version,
        program_version: env!("CARGO_PKG_VERSION").to_owned(),
        files: frozen(built),
        headline: built.headline.clone(),
        summary: built.summary.clone(),
        title: built.title.clone(),
        invented: figures.region.invented().map(str::to_owned),
        note: note.clone(),
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
