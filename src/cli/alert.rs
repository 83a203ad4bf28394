//! `bractline alert`: the bulletin of a week, as a draft or issued.

use std::path::{Path, PathBuf};

use jiff::Timestamp;

use super::figures::{Figures, day_of};
use super::grid_setting::check_grid_not_lowered;
use super::inputs::Inputs;
use super::issued;
use super::issuing::{self, IssueRequest, NoteChoice};
use super::scenario::refuse_scenario;
use super::week_page::write_week_page;
use super::withdrawing;
use super::{Format, Outcome, open_snapshot, open_store};
use crate::alert::bulletin::{Bulletin, ProtocolFacts};
use crate::alert::issue::facts::Issue;
use crate::alert::note::bounds::note_text;
use crate::alert::note::rendered::Note;
use crate::alert::page::html::alert_html;
use crate::alert::page::still_to_come::still_to_come;
use crate::alert::page::summary::Summary;
use crate::alert::page::text::alert_markdown;
use crate::alert::page::wording::{headline, paragraph};
use crate::alert::page::worked::WorkedThreshold;
use crate::disclosure::public_row::PublicRow;
use crate::failure::{Failure, Kind};
use crate::figures::place::Place;
use crate::plain_file::open_plain;
use crate::protocol::catalogue::Protocol;
use crate::protocol::threshold::worked_values;
use crate::rollup::public_rows::Publishing;
use crate::rollup::run::Period;
use crate::seasons::season::seasons_of;
use crate::seasons::season_place::season_place_in_words;
use crate::seasons::season_so_far::SeasonSoFar;
use crate::seasons::season_weeks::season_weeks;
use crate::shared::files::{OutputFile, borrowed, write_private_folder};
use crate::shared::report;
use crate::shared::unseen::plain_text;
use crate::store::alerts::{IssuedAlert, issued_alerts, published_rows};
use crate::visit::week::IsoWeek;
use crate::workspace::Workspace;

/// Make the bulletin of a week, and issue it
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline alert --week 2026-W30\n  bractline alert --week 2026-W30 --note words.md --issue\n  bractline alert --reissue 3\n  bractline alert --withdraw 3 --reason 'trap counts of another week'\n  bractline alert --as-issued 3\n  bractline alert --list\n\nAn alert is of one protocol. A draft goes to the workspace's folder alerts/WEEK/PROTOCOL: alert.html, alert.md, county_week.csv, elsewhere_week.csv, county_week.geojson and its styles for QGIS and MapLibre; alerts/WEEK/index.html shows all protocols of the week. An issued alert goes to alerts/issued/NUMBER and never changes. What changes later is a correction (--reissue), which keeps the note unless another is given; a county's row changes once at most, and only by enough fields of enough farms. --withdraw leaves a stub in its place. `bractline publish` puts issued alerts where people read them."
)]
#[command(group = clap::ArgGroup::new("deed").required(true).args(["week", "reissue", "withdraw", "as_issued", "list"]))]
pub struct Alert {
    /// ISO 8601 week, as 2026-W30
    #[arg(long, value_name = "WEEK")]
    week: Option<IsoWeek>,

    /// Id of the protocol, where the week has visits under several
    #[arg(long, value_name = "ID", requires = "week")]
    protocol: Option<String>,

    /// The entomologist's comments: a file of Markdown
    #[arg(long, value_name = "FILE", conflicts_with_all = ["withdraw", "as_issued", "list"])]
    note: Option<PathBuf>,

    /// Issue the correction without the note of the alert that it corrects
    #[arg(long, requires = "reissue", conflicts_with = "note")]
    no_note: bool,

    /// Withdraw this alert: a stub with the reason takes its place
    #[arg(long, value_name = "NUMBER", requires = "reason")]
    withdraw: Option<i64>,

    /// Why it is withdrawn, for its readers
    #[arg(long, value_name = "TEXT", requires = "withdraw")]
    reason: Option<String>,

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
        if let (Some(number), Some(reason)) = (self.withdraw, self.reason) {
            return withdrawing::withdraw(workspace, number, reason, Timestamp::now(), self.format)
                .await;
        }
        let note = match self.note.as_deref() {
            Some(file) => NoteChoice::Text(read_note(file)?),
            None if self.no_note => NoteChoice::None,
            None => NoteChoice::AsBefore,
        };
        let request = match (self.reissue, self.week) {
            (Some(number), _) => IssueRequest::Correction(number),
            (None, Some(week)) if self.issue => IssueRequest::Week(week, self.protocol),
            (None, week) => {
                let week = week.expect("the group of flags has one of them");
                let note = note.of(None);
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
    let issued = issued_alerts(&store).await?;
    check_grid_not_lowered(workspace, &issued)?;
    let snapshot = open_snapshot(workspace).await?;
    let figures = Figures::newest(workspace, &snapshot, None, &Publishing::Nothing).await?;
    if let Some(note) = &note {
        let confidences = issuing::confidences(&store).await?;
        let inputs = Inputs::of_now(workspace)?;
        let gate = issuing::gate(workspace, &inputs, &figures.region, &confidences)?;
        gate.judge_note(note, &confidences.points)?;
    }
    let note = note.as_deref().map(Note::read).transpose()?;
    let protocol = chosen_protocol(&figures, week, protocol.as_deref())?.clone();
    let published = published_rows(&store).await?;
    let publishing = publishing(week, &protocol.id);
    let figures = figures.publishing(&published, &publishing).await?;
    let figures = figures.with_arrivals(&snapshot).await?;
    let page = write_draft(workspace, &figures, week, &protocol, note.as_ref(), &issued)?;
    let withheld = figures.counties_withheld();
    match format {
        Format::Text => report::say(&format!(
            "draft of {week}, {}: {}\nwould make {} public; {} in no row, see rollup's private/disclosure.csv",
            protocol.id,
            page.display(),
            report::counted(figures.entering.len() as u64, "row", "rows"),
            report::counted(withheld as u64, "county is", "counties are"),
        ))?,
        Format::Json => report::say_json(&serde_json::json!({
            "iso_week": week.to_string(),
            "protocol": protocol.id,
            "store_version": figures.rollup.store_version,
            "rows_made_public": figures.entering.len(),
            "counties_withheld": withheld,
            "page": page,
        }))?,
    }
    Ok(Outcome::Done)
}

/// What is published with the alert of a week.
pub(super) fn publishing(week: IsoWeek, protocol: &str) -> Publishing {
    Publishing::Week {
        iso_week: week.to_string(),
        protocol: protocol.to_owned(),
    }
}

/// The text of a note's file; a longer one is not read to its end.
fn read_note(path: &Path) -> Result<String, Failure> {
    let file = open_plain(path)?;
    let text = note_text(file, path)?;
    // A failure of the note names a line of it; the file is named with it.
    Note::read(&text).map_err(|failure| failure.in_file(path))?;
    Ok(text)
}

/// Writes the bulletin of a week as a draft, and the page of the week; the path of its page.
pub(super) fn write_draft(
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

/// The files of a bulletin, and what the feed and the list say of it.
pub(super) struct Built {
    /// Name and bytes of each file.
    pub(super) files: Vec<OutputFile>,
    pub(super) headline: String,
    pub(super) summary: String,
    pub(super) title: String,
}

/// Builds the bulletin of a week, writing nothing.
pub(super) fn build(
    figures: &Figures,
    week: IsoWeek,
    protocol: &Protocol,
    note: Option<&Note>,
    issue: Option<&Issue>,
) -> Result<Built, Failure> {
    let rows = figures.rows_under(week, &protocol.id);
    let previous = week
        .previous()
        .map(|week| figures.rows_under(week, &protocol.id))
        .filter(|rows| !rows.is_empty());
    let iso_week = week.to_string();
    let fields = rows.iter().map(|row| row.fields_visited).sum();
    let season_now = season_now(figures, week, &protocol.id);
    let so_far = SeasonSoFar::of(&figures.public, week, &protocol.id, &protocol.scale)?;
    let bulletin = Bulletin {
        iso_week: &iso_week,
        region: &figures.region,
        rows: &rows,
        rule: &figures.setting.rule,
        visits_until: figures
            .received_until
            .map(|_| day_of(figures.received_until)),
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
        (
            "county_week.csv",
            figures.csv(figures.public.county_week(), period, Some(&protocol.id))?,
        ),
        (
            "elsewhere_week.csv",
            figures.csv(figures.public.elsewhere_week(), period, Some(&protocol.id))?,
        ),
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
    let rows = figures.public.rows().iter();
    let rows: Vec<PublicRow> = rows
        .filter(|row| row.protocol == protocol)
        .cloned()
        .collect();
    let mut seasons = seasons_of(&rows, &figures.setting.counties, &figures.heat);
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
    let visited = figures.visited();
    let wanted = week.to_string();
    let of_week = visited.iter().filter(|(week, _)| *week == wanted);
    let ids: Vec<&str> = of_week.map(|(_, protocol)| protocol.as_str()).collect();
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
    let visited = figures.visited();
    let mut weeks: Vec<&str> = visited.iter().map(|(week, _)| week.as_str()).collect();
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
        // Not twice: the protocol's own words may say it.
        .filter(|_| !protocol.timing.treat.contains("hatch"))
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
