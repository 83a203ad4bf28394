//! Alerts as drafts: built from the newest figures, written to the workspace, entered nowhere.

use std::collections::BTreeMap;
use std::path::PathBuf;

use super::build::build;
use super::chosen::{Choice, publishing};
use super::confidences;
use super::heat_note::note_heat;
use super::inputs::Inputs;
use super::pest_line::PestLine;
use super::week_pages::{WeekOf, write_week_page};
use crate::alert::note::given::Notes;
use crate::alert::note::rendered::Note;
use crate::figures::grid_setting::check_grid_not_lowered;
use crate::figures::map::small_map::SmallMaps;
use crate::figures::office::read_logo;
use crate::figures::rolled_up::Figures;
use crate::figures::week_setting::check_week_start;
use crate::shared::files::{borrowed, write_private_folder};
use crate::shared::report;
use crate::workspace::Workspace;
use crate::workspace::open::{open_snapshot, open_store};
use scouting::failure::Failure;
use scouting::protocol::catalogue::Protocol;
use scouting::visit::week::IsoWeek;
use store::alerts::table::{issued_alerts, published_rows};
use store::delta::snapshot::Snapshot;
use store::public::public_rows::Publishing;

/// Drafts that were written just now, of one week.
pub(crate) struct Drafts {
    week: IsoWeek,
    /// That the program chose the week, in words; `None` where somebody named it.
    newest: Option<String>,
    drafts: Vec<Draft>,
    week_page: PathBuf,
}

/// A draft that was written just now.
pub(crate) struct Draft {
    protocol: String,
    store_version: i64,
    rows_made_public: usize,
    counties_withheld: usize,
    fields_treated: u64,
    /// Path of its page.
    pub(crate) page: PathBuf,
    line: PestLine,
}

impl Drafts {
    /// For programs: each draft in `drafts`, and the members of an only one beside them.
    pub(crate) fn json(&self) -> serde_json::Value {
        let drafts = self.drafts.iter().map(|draft| draft.json(self.week));
        report::list_or_only("drafts", drafts.collect())
    }

    /// For people.
    pub(crate) fn text(&self) -> String {
        let newest = self.newest.clone();
        let drafts = self.drafts.iter().map(|draft| draft.text(self.week));
        let week_page = format!("the week on one page: {}", self.week_page.display());
        let lines = newest.into_iter().chain(drafts).chain([week_page]);
        lines.collect::<Vec<_>>().join("\n")
    }
}

impl Draft {
    fn json(&self, week: IsoWeek) -> serde_json::Value {
        serde_json::json!({
            "iso_week": week.to_string(),
            "protocol": self.protocol,
            "store_version": self.store_version,
            "rows_made_public": self.rows_made_public,
            "counties_withheld": self.counties_withheld,
            "fields_treated": self.fields_treated,
            "page": self.page,
        })
    }

    fn text(&self, week: IsoWeek) -> String {
        let treated = match self.fields_treated {
            0 => String::new(),
            treated => format!(
                "\n{} treated and not counted, see rollup's private/county_week_full.csv",
                report::counted(treated, "field was", "fields were")
            ),
        };
        format!(
            "draft of {week}, {}: {}\nwould make {} public; {} in no row, see rollup's private/disclosure.csv{treated}",
            self.protocol,
            self.page.display(),
            report::counted(self.rows_made_public as u64, "row", "rows"),
            report::counted(self.counties_withheld as u64, "county is", "counties are"),
        )
    }
}

/// Drafts the alerts of a week from the newest figures.
///
/// # Errors
/// A [`Failure`] if the week has no visits, or a note would give somebody away.
pub(crate) async fn draft(
    workspace: &Workspace,
    choice: &Choice,
    notes: &Notes,
) -> Result<Drafts, Failure> {
    let store = open_store(workspace).await?;
    let (issued, published) = (issued_alerts(&store).await?, published_rows(&store).await?);
    check_grid_not_lowered(workspace, &issued)?;
    let snapshot = open_snapshot(workspace).await?;
    let figures = Figures::newest(workspace, &snapshot, None, &Publishing::Nothing).await?;
    let (week, protocols) = choice.of(&figures)?;
    check_week_start(workspace, week.season(), &issued, &published)?;
    let ids: Vec<&str> = protocols
        .iter()
        .map(|protocol| protocol.id.as_str())
        .collect();
    notes.check(&ids)?;
    let texts = ids.iter().filter_map(|id| notes.of(id, None));
    let texts: Vec<String> = texts.collect();
    if !texts.is_empty() {
        let confidences = confidences::confidences(&store).await?;
        let inputs = Inputs::of_now(workspace)?;
        let gate = confidences::gate(workspace, &inputs, &figures.region, &confidences)?;
        for text in &texts {
            gate.judge_note(text, &confidences.points)?;
        }
    }
    let newest = choice.newest(week, &figures.setting.weeks);
    let drafts = write_drafts(workspace, &snapshot, figures, (week, &protocols), notes).await?;
    Ok(Drafts {
        week,
        newest,
        drafts,
        week_page: workspace.alerts().join(week.to_string()).join("index.html"),
    })
}

/// Writes the alerts of a week under these protocols as drafts, and the page of the week.
///
/// # Errors
/// A [`Failure`] if one cannot be built or written.
pub(crate) async fn write_drafts(
    workspace: &Workspace,
    snapshot: &Snapshot,
    mut figures: Figures,
    (week, protocols): (IsoWeek, &[Protocol]),
    notes: &Notes,
) -> Result<Vec<Draft>, Failure> {
    let store = open_store(workspace).await?;
    let (published, issued) = (published_rows(&store).await?, issued_alerts(&store).await?);
    figures = figures.with_logo(workspace, read_logo(workspace)?.as_deref())?;
    let maps = SmallMaps::of(&figures.region);
    let mut drafts = Vec::new();
    for protocol in protocols {
        figures = figures
            .publishing(&published, &publishing(week, &protocol.id))
            .await?;
        figures = figures.with_arrivals(snapshot).await?;
        note_heat(&figures, week, &protocol.id);
        let note = notes.of(&protocol.id, None);
        let note = note.as_deref().map(Note::read).transpose()?;
        let built = build(&figures, week, protocol, note.as_ref(), None)?;
        let folder = workspace.alerts().join(week.to_string()).join(&protocol.id);
        write_private_folder(&folder, &borrowed(&built.files))?;
        drafts.push(Draft {
            protocol: protocol.id.clone(),
            store_version: figures.rollup.store_version,
            rows_made_public: figures.entering.len(),
            counties_withheld: figures.counties_withheld(),
            fields_treated: figures.fields_treated(week, &protocol.id)?,
            page: folder.join("alert.html"),
            line: PestLine::of(
                &figures.region,
                &maps,
                &figures.rows_under(week, &protocol.id),
                protocol,
            ),
        });
    }
    let lines = drafts.iter();
    let lines: BTreeMap<&str, &PestLine> =
        lines.map(|draft| (&*draft.protocol, &draft.line)).collect();
    let week_of = WeekOf {
        week,
        issued: &issued,
        published: &published,
        drafted: &lines,
    };
    write_week_page(workspace, &figures, &maps, &week_of)?;
    Ok(drafts)
}
