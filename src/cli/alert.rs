//! `bractline alert`: the bulletin of a week, as a draft or issued.

use std::path::{Path, PathBuf};

use jiff::Timestamp;

use super::grid_setting::check_grid_not_lowered;
use super::inputs::Inputs;
use super::issued;
use super::issuing::{self, IssueRequest};
use super::report;
use super::rollup::Figures;
use super::scenario::refuse_scenario;
use super::{Format, Outcome, open_store};
use crate::failure::{Failure, Kind};
use crate::plain_file::{open_plain, read_plain_text};
use crate::protocol::catalogue::Protocol;
use crate::protocol::threshold::worked_values;
use crate::publish::alert_page::{Bulletin, ProtocolFacts, alert_html};
use crate::publish::alert_text::alert_markdown;
use crate::publish::files::write_private_folder;
use crate::publish::issue::Issue;
use crate::publish::note::Note;
use crate::publish::note_bounds::note_text;
use crate::publish::season_place::season_place_in_words;
use crate::publish::still_to_come::still_to_come;
use crate::publish::summary::Summary;
use crate::publish::unseen::plain_text;
use crate::publish::wording::{headline, paragraph};
use crate::publish::worked::WorkedThreshold;
use crate::rollup::county_week::CountyWeek;
use crate::rollup::run::Period;
use crate::rollup::season_so_far::SeasonSoFar;
use crate::rollup::season_weeks::season_weeks;
use crate::rollup::seasons::{Place, seasons_of};
use crate::store::alerts::issued_alerts;
use crate::visit::week::IsoWeek;
use crate::workspace::Workspace;

/// Make the bulletin of a week, and issue it
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline alert --week 2026-W30\n  bractline alert --week 2026-W30 --note words.md --issue\n  bractline alert --reissue 3\n  bractline alert --as-issued 3\n  bractline alert --list\n\nA draft goes to the workspace's folder alerts/WEEK: alert.html, alert.md, county_week.csv,\ncounty_week.geojson and its styles for QGIS and MapLibre. An issued alert goes to alerts/issued/NUMBER and never changes; what changes later\nis told by a correction (--reissue). `bractline publish` puts issued alerts where people read them."
)]
#[command(group = clap::ArgGroup::new("deed").required(true).args(["week", "reissue", "as_issued", "list"]))]
pub struct Alert {
    /// ISO 8601 week, as 2026-W30
    #[arg(long, value_name = "WEEK")]
    week: Option<IsoWeek>,

    /// Id of the protocol, where the week has visits under several
    #[arg(long, value_name = "ID", requires = "week")]
    protocol: Option<String>,

    /// The entomologist's own words: a file of Markdown
    #[arg(long, value_name = "FILE", conflicts_with_all = ["as_issued", "list"])]
    note: Option<PathBuf>,

    /// Freeze it: give it a number, and keep what it was made from
    #[arg(long, requires = "week")]
    issue: bool,

    /// Issue a correction of this alert from the newest figures
    #[arg(long, value_name = "NUMBER")]
    reissue: Option<i64>,

    /// Build this alert again from the store as it was, and compare
    #[arg(long, value_name = "NUMBER")]
    as_issued: Option<i64>,

    /// Folder to write the alert to that was built again
    #[arg(long, value_name = "DIR", requires = "as_issued")]
    out: Option<PathBuf>,

    /// Not for an alert: a scenario is no finding
    #[arg(long = "with", value_name = "CHANGES", hide = true)]
    scenario: Option<String>,

    /// List the issued alerts
    #[arg(long)]
    list: bool,

    /// How to report
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl Alert {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        refuse_scenario(self.scenario.as_deref())?;
        if self.list {
            return issued::list(workspace, self.format).await;
        }
        if let Some(number) = self.as_issued {
            return issued::as_issued(workspace, number, self.out.as_deref(), self.format).await;
        }
        let note = self.note.as_deref().map(read_note).transpose()?;
        let request = match (self.reissue, self.week) {
            (Some(number), _) => IssueRequest::Correction(number),
            (None, Some(week)) if self.issue => IssueRequest::Week(week, self.protocol),
            (None, week) => {
                let week = week.expect("the group of flags has one of them");
                return draft(workspace, week, self.protocol, note, self.format).await;
            }
        };
        issuing::issue(workspace, &request, note, Timestamp::now(), self.format).await
    }
}

async fn draft(
    workspace: &Workspace,
    week: IsoWeek,
    protocol: Option<String>,
    note: Option<String>,
    format: Format,
) -> Result<Outcome, Failure> {
    let store = open_store(workspace).await?;
    check_grid_not_lowered(workspace, &issued_alerts(&store).await?)?;
    let figures = Figures::with_arrivals(workspace).await?;
    if let Some(note) = &note {
        let confidences = issuing::confidences(&store).await?;
        let inputs = Inputs::of_now(workspace)?;
        let gate = issuing::gate(workspace, &inputs, &figures.region, &confidences)?;
        gate.judge_note(note, &confidences.points)?;
    }
    let note = note.as_deref().map(Note::read).transpose()?;
    let page = write_draft(
        workspace,
        &figures,
        week,
        protocol.as_deref(),
        note.as_ref(),
    )?;
    match format {
        Format::Text => report::say(&format!("alert of {week}: {}", page.display()))?,
        Format::Json => report::say_json(&serde_json::json!({
            "iso_week": week.to_string(),
            "store_version": figures.rollup.store_version,
            "page": page,
        }))?,
    }
    Ok(Outcome::Done)
}

/// The text of a note's file; a longer one is not read to its end.
fn read_note(path: &Path) -> Result<String, Failure> {
    let file = std::fs::File::open(path).map_err(|error| Failure::file("read", path, &error))?;
    let text = note_text(file, path)?;
    // A failure of the note names a line of it; the file is named with it.
    Note::read(&text).map_err(|failure| failure.in_file(path))?;
    Ok(text)
}

/// Writes the bulletin of a week as a draft without a note; the path of its page.
pub(super) fn write_alert(
    workspace: &Workspace,
    figures: &Figures,
    week: IsoWeek,
    protocol: Option<&str>,
) -> Result<PathBuf, Failure> {
    write_draft(workspace, figures, week, protocol, None)
}

fn write_draft(
    workspace: &Workspace,
    figures: &Figures,
    week: IsoWeek,
    protocol: Option<&str>,
    note: Option<&Note>,
) -> Result<PathBuf, Failure> {
    let protocol = chosen_protocol(figures, week, protocol)?;
    let built = build(figures, week, protocol, note, None)?;
    let folder = workspace.alerts().join(week.to_string());
    write_private_folder(&folder, &built.borrowed())?;
    Ok(folder.join("alert.html"))
}

/// The files of a bulletin, and what the feed and the list say of it.
pub(super) struct Built {
    /// Name and bytes of each file.
    pub(super) files: Vec<(&'static str, Vec<u8>)>,
    pub(super) headline: String,
    pub(super) summary: String,
    pub(super) title: String,
}

impl Built {
    /// The files as they are written.
    pub(super) fn borrowed(&self) -> Vec<(&str, &[u8])> {
        let files = self.files.iter();
        files
            .map(|(name, bytes)| (*name, bytes.as_slice()))
            .collect()
    }
}

/// The rows of a week under a protocol.
pub(super) fn rows_under(figures: &Figures, week: IsoWeek, protocol: &str) -> Vec<CountyWeek> {
    let mut rows = figures.rows(Period::Week(week));
    rows.retain(|row| row.protocol == protocol);
    rows
}

/// Builds the bulletin of a week, writing nothing.
pub(super) fn build(
    figures: &Figures,
    week: IsoWeek,
    protocol: &Protocol,
    note: Option<&Note>,
    issue: Option<&Issue>,
) -> Result<Built, Failure> {
    let rows = rows_under(figures, week, &protocol.id);
    let previous = week
        .previous()
        .map(|week| rows_under(figures, week, &protocol.id))
        .filter(|rows| !rows.is_empty());
    let iso_week = week.to_string();
    let fields = rows.iter().filter_map(|row| row.fields_visited).sum();
    let season_now = season_now(figures, week, &protocol.id);
    let so_far = SeasonSoFar::of(&figures.rollup, week, &protocol.id, &protocol.scale)?;
    let bulletin = Bulletin {
        iso_week: &iso_week,
        region: &figures.region,
        rows: &rows,
        previous: previous.as_deref(),
        so_far: &so_far,
        protocol: &facts(protocol)?,
        contact: &figures.contact,
        generated_at: &as_of(figures),
        season_now: season_now.as_deref(),
        still_to_come: &still_to_come(&figures.arrivals.arrived(week, &protocol.id), fields),
        program_version: concat!("bractline ", env!("CARGO_PKG_VERSION")),
        store_version: figures.rollup.store_version,
        note,
        issue,
    };
    let period = Period::Week(week);
    let mut files = vec![
        ("alert.html", alert_html(&bulletin)?.into_bytes()),
        ("alert.md", alert_markdown(&bulletin)?.into_bytes()),
        ("county_week.csv", figures.csv(period)?),
    ];
    files.extend(figures.map_files(period, Some(&protocol.id))?);
    Ok(Built {
        headline: headline(&Summary::of(&figures.region, &rows)),
        summary: paragraph(&bulletin),
        title: plain_text(&protocol.title),
        files,
    })
}

/// How the week of the region compares with earlier seasons; `None` where no county is shown.
fn season_now(figures: &Figures, week: IsoWeek, protocol: &str) -> Option<String> {
    let rows = figures.county_weeks.iter();
    let rows: Vec<CountyWeek> = rows
        .filter(|row| row.protocol == protocol)
        .cloned()
        .collect();
    let mut seasons = seasons_of(&rows, &figures.heat);
    seasons.retain(|season| season.place == Place::Region);
    let mut weeks = season_weeks(&seasons).into_iter();
    let now = weeks.find(|now| now.iso_week() == week.to_string())?;
    Some(season_place_in_words(&now, figures.heat.from()))
}

/// The protocol that was named, or the only one that the week has visits of.
pub(super) fn chosen_protocol<'a>(
    figures: &'a Figures,
    week: IsoWeek,
    named: Option<&str>,
) -> Result<&'a Protocol, Failure> {
    let rows = figures.rows(Period::Week(week));
    let mut ids: Vec<&str> = rows.iter().map(|row| row.protocol.as_str()).collect();
    ids.sort_unstable();
    ids.dedup();
    let id = match (named, ids.as_slice()) {
        (Some(id), _) => id,
        (None, [id]) => id,
        (None, []) => {
            return Err(Failure::new(
                Kind::Publish,
                format!("no visit in {week}: there is nothing to say"),
            )
            .mend(weeks_with_visits(figures)));
        }
        (None, several) => {
            return Err(Failure::new(
                Kind::Publish,
                format!(
                    "{week} has visits under {} protocols: {}",
                    several.len(),
                    several.join(", ")
                ),
            )
            .mend("choose one with --protocol ID"));
        }
    };
    figures.catalogue.protocol(id).ok_or_else(|| {
        Failure::new(Kind::Protocol, format!("no protocol {id:?}"))
            .mend(format!("the catalogue has {}", figures.catalogue.ids()))
    })
}

fn weeks_with_visits(figures: &Figures) -> String {
    let mut weeks: Vec<&str> = figures
        .county_weeks
        .iter()
        .map(|row| row.iso_week.as_str())
        .collect();
    weeks.sort_unstable();
    weeks.dedup();
    if weeks.is_empty() {
        "no week has visits yet: load some with `bractline load FILE…`".to_owned()
    } else {
        format!("the weeks with visits are {}", weeks.join(", "))
    }
}

/// The moment that the figures speak of: the newest submission, so that the same store gives the same
/// page.
fn as_of(figures: &Figures) -> String {
    figures.received_until.map_or_else(
        || "no report yet".to_owned(),
        |moment| moment.strftime("%Y-%m-%d %H:%M UTC").to_string(),
    )
}

fn facts(protocol: &Protocol) -> Result<ProtocolFacts, Failure> {
    let hatch = protocol
        .timing
        .hatch_days
        .map(|[from, to]| format!("Eggs hatch {from} to {to} days after they are laid."));
    // The page escapes markup; marks of writing direction it would show by what they do.
    Ok(ProtocolFacts {
        id: protocol.id.clone(),
        title: plain_text(&protocol.title),
        crop: plain_text(&protocol.crop),
        counted: plain_text(&protocol.counted),
        threshold_name: plain_text(&protocol.threshold.kind),
        stage_window: format!("{}–{}", protocol.stages.first, protocol.stages.last),
        treatment_stage: protocol.timing.treat_at.clone(),
        treatment: Some(plain_text(&protocol.timing.treat)),
        hatch,
        worked: worked(protocol)?,
        source: plain_text(&protocol.threshold.source),
        cautions: protocol
            .cautions
            .iter()
            .map(|caution| plain_text(&caution.text))
            .collect(),
    })
}

/// The protocol's first worked value that gives all the economics, in words.
fn worked(protocol: &Protocol) -> Result<Option<WorkedThreshold>, Failure> {
    let values = worked_values(protocol)?;
    let counted = plain_text(&protocol.counted);
    let mut checks = protocol.checks.iter().zip(values);
    Ok(checks
        .find_map(|(check, value)| WorkedThreshold::of(&check.given.economics(), value, &counted)))
}
