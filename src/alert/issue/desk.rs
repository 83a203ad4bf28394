//! Everything that issuing takes, opened once: for one alert, or for all alerts of a week.

use jiff::Timestamp;

use super::facts::{Issue, folder_name};
use super::request::Subject;
use crate::alert::build::{Built, build};
use crate::alert::chosen::protocol_of;
use crate::alert::confidences::{confidences, gate};
use crate::alert::inputs::Inputs;
use crate::alert::note::rendered::Note;
use crate::figures::rolled_up::Figures;
use crate::figures::week_setting::check_week_start;
use crate::gate::judge::{Confidences, Gate};
use crate::workspace::Workspace;
use crate::workspace::open::open_store;
use disclosure::public_row::PublicRow;
use scouting::failure::Failure;
use store::alerts::table::{AlertBook, published_rows};
use store::delta::snapshot::Snapshot;
use store::delta::tables::Store;
use store::public::public_rows::Publishing;

/// A version of the store rolled up, with all that judges what is made of it.
pub(crate) struct Desk<'a> {
    pub(super) workspace: &'a Workspace,
    pub(super) store: Store,
    pub(super) inputs: Inputs,
    pub(super) figures: Figures,
    snapshot: Snapshot,
    confidences: Confidences,
    gate: Gate,
}

/// An alert that was made and judged, and is not issued.
pub(super) struct Made {
    pub(super) subject: Subject,
    pub(super) issue: Issue,
    pub(super) built: Built,
    pub(super) note: Option<String>,
    /// The rows that it shows.
    pub(super) rows: Vec<PublicRow>,
}

impl<'a> Desk<'a> {
    /// Rolls the newest version of the store up.
    ///
    /// # Errors
    /// A [`Failure`] if the store or the workspace cannot be read.
    pub(super) async fn open(workspace: &'a Workspace) -> Result<Desk<'a>, Failure> {
        let store = open_store(workspace).await?;
        let inputs = Inputs::of_now(workspace)?;
        let (nothing, published) = (Publishing::Nothing, published_rows(&store).await?);
        let (snapshot, figures) = inputs
            .figures(workspace, None, &published, &nothing, &[])
            .await?;
        let confidences = confidences(&store).await?;
        let gate = gate(workspace, &inputs, &figures.region, &confidences)?;
        Ok(Desk {
            workspace,
            store,
            inputs,
            figures,
            snapshot,
            confidences,
            gate,
        })
    }

    /// Makes the alert of a subject, and has the gate judge its note and its files.
    ///
    /// # Errors
    /// A [`Failure`] if it cannot be built, or the gate stops it.
    pub(super) async fn make(
        mut self,
        book: &AlertBook,
        subject: Subject,
        note: Option<String>,
        now: Timestamp,
    ) -> Result<(Desk<'a>, Made), Failure> {
        let replaced = subject.replaces.as_ref();
        let reason = replaced.and_then(|replaced| replaced.change.reason());
        for text in note.as_deref().into_iter().chain(reason) {
            self.gate.judge_note(text, &self.confidences.points)?;
        }
        let published = book.published();
        if replaced.is_none() {
            let season = subject.week.season();
            check_week_start(self.workspace, season, book.issued(), &published)?;
        }
        self.figures = self
            .figures
            .publishing(&published, &subject.publishing())
            .await?;
        self.figures = self.figures.with_arrivals(&self.snapshot).await?;
        let issue = Issue {
            number: book.next_number(),
            // The table keeps microseconds; so do the files.
            issued_at: Timestamp::from_microsecond(now.as_microsecond()).unwrap_or(now),
            replaces: subject.replaces.clone(),
        };
        let built = build_issue(&self.figures, &subject, note.as_deref(), &issue)?;
        let folder = folder_name(issue.number);
        let gate = &mut self.gate;
        gate.allow_rows(published.iter().map(|one| &one.entry));
        gate.allow_rows(&self.figures.entering);
        for (name, bytes) in &built.files {
            let file = format!("{folder}/{name}");
            gate.judge_alert_file(&file, name, bytes, &subject.protocol)?;
        }
        let made = Made {
            rows: self.figures.rows_under(subject.week, &subject.protocol),
            subject,
            issue,
            built,
            note,
        };
        Ok((self, made))
    }
}

/// Builds the alert of a subject.
///
/// # Errors
/// A [`Failure`] if it cannot be built.
pub(super) fn build_issue(
    figures: &Figures,
    subject: &Subject,
    note: Option<&str>,
    issue: &Issue,
) -> Result<Built, Failure> {
    let protocol = protocol_of(figures, &subject.protocol)?;
    let note = note.map(Note::read).transpose()?;
    build(figures, subject.week, protocol, note.as_ref(), Some(issue))
}
