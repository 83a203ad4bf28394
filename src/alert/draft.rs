//! An alert as a draft: built from the newest figures, written to the workspace, entered nowhere.

use std::path::{Path, PathBuf};

use super::build::build;
use super::chosen::{chosen_protocol, publishing};
use super::confidences;
use super::heat_note::note_heat;
use super::inputs::Inputs;
use super::week_pages::write_week_page;
use crate::alert::note::bounds::note_text;
use crate::alert::note::rendered::Note;
use crate::figures::grid_setting::check_grid_not_lowered;
use crate::figures::office::read_logo;
use crate::figures::rolled_up::Figures;
use crate::figures::week_setting::check_week_start;
use crate::shared::files::{borrowed, write_private_folder};
use crate::shared::report;
use crate::workspace::Workspace;
use crate::workspace::open::{open_snapshot, open_store};
use scouting::failure::Failure;
use scouting::plain_file::open_plain;
use scouting::protocol::catalogue::Protocol;
use scouting::visit::week::IsoWeek;
use store::alerts::issued_alert::IssuedAlert;
use store::alerts::table::{issued_alerts, published_rows};
use store::public::public_rows::Publishing;

/// A draft that was written just now.
pub(crate) struct Drafted {
    week: IsoWeek,
    protocol: String,
    store_version: i64,
    rows_made_public: usize,
    counties_withheld: usize,
    fields_treated: u64,
    page: PathBuf,
}

impl Drafted {
    /// For programs.
    pub(crate) fn json(&self) -> serde_json::Value {
        serde_json::json!({
            "iso_week": self.week.to_string(),
            "protocol": self.protocol,
            "store_version": self.store_version,
            "rows_made_public": self.rows_made_public,
            "counties_withheld": self.counties_withheld,
            "fields_treated": self.fields_treated,
            "page": self.page,
        })
    }

    /// For people.
    pub(crate) fn text(&self) -> String {
        let treated = match self.fields_treated {
            0 => String::new(),
            treated => format!(
                "\n{} treated and not counted, see rollup's private/county_week_full.csv",
                report::counted(treated, "field was", "fields were")
            ),
        };
        format!(
            "draft of {}, {}: {}\nwould make {} public; {} in no row, see rollup's private/disclosure.csv{treated}",
            self.week,
            self.protocol,
            self.page.display(),
            report::counted(self.rows_made_public as u64, "row", "rows"),
            report::counted(self.counties_withheld as u64, "county is", "counties are"),
        )
    }
}

/// Drafts the alert of a week from the newest figures.
///
/// # Errors
/// A [`Failure`] if the week has no visits, or the note would give somebody away.
pub(crate) async fn draft(
    workspace: &Workspace,
    week: IsoWeek,
    protocol: Option<String>,
    note: Option<String>,
) -> Result<Drafted, Failure> {
    let store = open_store(workspace).await?;
    let issued = issued_alerts(&store).await?;
    check_grid_not_lowered(workspace, &issued)?;
    let published = published_rows(&store).await?;
    check_week_start(workspace, week.season(), &issued, &published)?;
    let snapshot = open_snapshot(workspace).await?;
    let figures = Figures::newest(workspace, &snapshot, None, &Publishing::Nothing).await?;
    if let Some(note) = &note {
        let confidences = confidences::confidences(&store).await?;
        let inputs = Inputs::of_now(workspace)?;
        let gate = confidences::gate(workspace, &inputs, &figures.region, &confidences)?;
        gate.judge_note(note, &confidences.points)?;
    }
    let note = note.as_deref().map(Note::read).transpose()?;
    let protocol = chosen_protocol(&figures, week, protocol.as_deref())?.clone();
    let publishing = publishing(week, &protocol.id);
    let figures = figures.publishing(&published, &publishing).await?;
    let figures = figures.with_arrivals(&snapshot).await?;
    let figures = figures.with_logo(workspace, read_logo(workspace)?.as_deref())?;
    note_heat(&figures, week, &protocol.id);
    let page = write_draft(workspace, &figures, week, &protocol, note.as_ref(), &issued)?;
    Ok(Drafted {
        week,
        store_version: figures.rollup.store_version,
        rows_made_public: figures.entering.len(),
        counties_withheld: figures.counties_withheld(),
        fields_treated: figures.fields_treated(week, &protocol.id)?,
        protocol: protocol.id,
        page,
    })
}

/// The text of a note's file; a longer one is not read to its end.
pub(crate) fn read_note(path: &Path) -> Result<String, Failure> {
    let file = open_plain(path)?;
    let text = note_text(file, path)?;
    // A failure of the note names a line of it; the file is named with it.
    Note::read(&text).map_err(|failure| failure.in_file(path))?;
    Ok(text)
}

/// Writes the alert of a week as a draft, and the page of the week; the path of its page.
pub(crate) fn write_draft(
    workspace: &Workspace,
    figures: &Figures,
    week: IsoWeek,
    protocol: &Protocol,
    note: Option<&Note>,
    issued: &[IssuedAlert],
) -> Result<PathBuf, Failure> {
    let built = build(figures, week, protocol, note, None)?;
    let folder = workspace.alerts().join(week.to_string());
    write_private_folder(&folder.join(&protocol.id), &borrowed(&built.files))?;
    write_week_page(workspace, figures, week, issued)?;
    Ok(folder.join(&protocol.id).join("alert.html"))
}
