//! `bractline alert`: the alert of a week, as a draft or issued.

use std::path::PathBuf;

use jiff::Timestamp;

use crate::alert::draft::{draft, read_note};
use crate::alert::issue::issuing::{IssueRequest, NoteChoice, issue};
use crate::alert::issue::rebuilt::{listed, rebuild};
use crate::alert::issue::report::{list_json, list_text};
use crate::alert::issue::withdrawing::withdraw;
use crate::cli::terminal::format::{Format, Outcome};
use crate::shared::report;
use crate::workspace::Workspace;
use crate::workspace::open::open_weeks;
use scouting::failure::Failure;
use scouting::visit::week::NamedWeek;

/// Build the alert of a week, and issue it
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline alert --week 2026-W30\n  bractline alert --week 2026-W30 --note words.md --issue\n  bractline alert --reissue 3\n  bractline alert --withdraw 3 --reason 'trap counts of another week'\n  bractline alert --as-issued 3\n  bractline alert --list\n\nAn alert is of one protocol. A draft goes to the workspace's folder alerts/WEEK/PROTOCOL: alert.html, alert.md, county_week.csv, elsewhere_week.csv, county_week.geojson and its styles for QGIS and MapLibre; alerts/WEEK/index.html shows all protocols of the week. An issued alert goes to alerts/issued/NUMBER and never changes. Later changes make a correction (--reissue), which keeps the note unless another is given; a county's row changes once at most, and only by enough fields of enough farms. --withdraw leaves a stub in its place. `bractline publish` copies issued alerts to where people read them."
)]
#[command(group = clap::ArgGroup::new("deed").required(true).args(["week", "reissue", "withdraw", "as_issued", "list"]))]
pub(crate) struct Alert {
    /// The week, as 2026-W30 or a day of it
    #[arg(long, value_name = "WEEK")]
    week: Option<NamedWeek>,

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

    /// Issue it: assign a number and archive its inputs
    #[arg(long, requires = "week")]
    issue: bool,

    /// Issue a correction of this alert from the newest figures
    #[arg(long, value_name = "NUMBER")]
    reissue: Option<i64>,

    /// Build this alert again from the store as it was, and compare
    #[arg(long, value_name = "NUMBER")]
    as_issued: Option<i64>,

    /// Output folder of the rebuilt alert
    #[arg(long, value_name = "DIR", requires = "as_issued")]
    out: Option<PathBuf>,

    /// List the issued alerts
    #[arg(long)]
    list: bool,

    /// Output format
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl Alert {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let format = self.format;
        if self.list {
            let issued = listed(workspace).await?;
            return format.say(&list_json(workspace, &issued), || list_text(&issued));
        }
        if let Some(number) = self.as_issued {
            let rebuilt = rebuild(workspace, number, self.out.as_deref()).await?;
            match (format, rebuilt.text()) {
                (Format::Json, _) => report::say_json(&rebuilt.json())?,
                (Format::Text, Some(text)) => report::say(&text)?,
                (Format::Text, None) => {}
            }
            return rebuilt.check().map(|()| Outcome::Done);
        }
        if let (Some(number), Some(reason)) = (self.withdraw, self.reason) {
            let withdrew = withdraw(workspace, number, reason, Timestamp::now()).await?;
            return format.say(&withdrew.json(), || withdrew.text());
        }
        let note = match self.note.as_deref() {
            Some(file) => NoteChoice::Text(read_note(file)?),
            None if self.no_note => NoteChoice::None,
            None => NoteChoice::AsBefore,
        };
        let week = match self.week {
            Some(week) => Some(week.among(&open_weeks(workspace).await?)),
            None => None,
        };
        let request = match (self.reissue, week) {
            (Some(number), _) => IssueRequest::Correction(number),
            (None, Some(week)) if self.issue => IssueRequest::Week(week, self.protocol),
            (None, week) => {
                let week = week.expect("the group of flags has one of them");
                let drafted = draft(workspace, week, self.protocol, note.of(None)).await?;
                return format.say(&drafted.json(), || drafted.text());
            }
        };
        let issued = issue(workspace, &request, note, Timestamp::now()).await?;
        format.say(&issued.json(), || issued.text())
    }
}
