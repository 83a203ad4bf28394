//! `bractline alert`: the alerts of a week, as drafts or issued.

use std::path::PathBuf;

use jiff::Timestamp;

use crate::alert::chosen::Choice;
use crate::alert::draft::draft;
use crate::alert::issue::reason::readable;
use crate::alert::issue::rebuilt::{listed, rebuild};
use crate::alert::issue::report::{list_json, list_text};
use crate::alert::issue::together::{Wish, plan};
use crate::alert::issue::withdrawing::withdraw;
use crate::alert::note::given::{Notes, read_note, read_notes};
use crate::cli::terminal::confirm::{NOTHING_CHANGED, can_ask, confirmed};
use crate::cli::terminal::format::{Format, Outcome};
use crate::shared::report;
use crate::workspace::Workspace;
use crate::workspace::open::open_weeks;
use scouting::failure::{Failure, Kind};
use scouting::visit::week::NamedWeek;

/// Build the alerts of a week, and issue them
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline alert\n  bractline alert --issue\n  bractline alert --week 2026-W30 --protocol bsm-eggs --note words.md --issue\n  bractline alert --issue --notes comments --yes\n  bractline alert --reissue 3 4\n  bractline alert --correct 3 --reason 'one county counted adults as eggs'\n  bractline alert --withdraw 3 --reason 'trap counts of another week'\n  bractline alert --as-issued 3\n  bractline alert --list\n\nAn alert is of one week and protocol. Without --week it is the newest week with visits, without --protocol every protocol that the week has visits under. Drafts go to the workspace's folder alerts/WEEK/PROTOCOL: alert.html, alert.md, county_week.csv, elsewhere_week.csv, county_week.geojson and its styles for QGIS and MapLibre; alerts/WEEK/index.html has all pests of the week on one page. An issued alert goes to alerts/issued/NUMBER and never changes.\n\n--issue shows what would become public and asks, unless --week and its only protocol say which alert is meant; scripts give --yes. Reports that come in later make an update (--reissue); something that was wrong makes a correction (--correct), with its reason on the page. Both keep the note unless another is given. A county's row changes once at most, and only by enough fields of enough farms. --withdraw leaves a stub in its place. `bractline publish` copies issued alerts to where people read them."
)]
#[command(group = clap::ArgGroup::new("deed").args(["week", "reissue", "correct", "withdraw", "as_issued", "list"]))]
#[command(group = clap::ArgGroup::new("replacing").args(["reissue", "correct"]))]
#[command(group = clap::ArgGroup::new("issuing").multiple(true).args(["issue", "reissue", "correct"]))]
#[command(group = clap::ArgGroup::new("reasoned").args(["correct", "withdraw"]))]
#[command(group = clap::ArgGroup::new("about_one").multiple(true).args(["reissue", "correct", "withdraw", "as_issued", "list"]))]
#[command(group = clap::ArgGroup::new("without_note").multiple(true).args(["withdraw", "as_issued", "list"]))]
pub(crate) struct Alert {
    /// The week, as 2026-W30 or a day of it; without it the newest week with visits
    #[arg(long, value_name = "WEEK")]
    week: Option<NamedWeek>,

    /// Id of one protocol; without it every one that the week has visits under
    #[arg(long, value_name = "ID", conflicts_with = "about_one")]
    protocol: Option<String>,

    /// The entomologist's comments on one alert: a file of Markdown
    #[arg(long, value_name = "FILE", conflicts_with = "without_note")]
    note: Option<PathBuf>,

    /// Comments on several alerts: a folder with a file PROTOCOL.md for each
    #[arg(long, value_name = "DIR", conflicts_with_all = ["note", "without_note"])]
    notes: Option<PathBuf>,

    /// Issue the update or correction without the note of the alert that it replaces
    #[arg(long, requires = "replacing", conflicts_with_all = ["note", "notes"])]
    no_note: bool,

    /// Issue them: assign numbers and archive their inputs
    #[arg(long, conflicts_with = "about_one")]
    issue: bool,

    /// Issue updates of these alerts from the newest figures: late reports
    #[arg(long, value_name = "NUMBER", num_args = 1..)]
    reissue: Vec<i64>,

    /// Issue a correction of this alert from the newest figures: something was wrong
    #[arg(long, value_name = "NUMBER", requires = "reason")]
    correct: Option<i64>,

    /// Withdraw this alert: a stub with the reason takes its place
    #[arg(long, value_name = "NUMBER", requires = "reason")]
    withdraw: Option<i64>,

    /// What was wrong, for its readers
    #[arg(long, value_name = "TEXT", requires = "reasoned")]
    reason: Option<String>,

    /// Issue without asking; without it you are shown what becomes public, and asked on a terminal
    #[arg(long, requires = "issuing")]
    yes: bool,

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
        let reason = self.reason.as_deref().map(readable).transpose()?;
        if let (Some(number), Some(reason)) = (self.withdraw, &reason) {
            let withdrew = withdraw(workspace, number, reason.clone(), Timestamp::now()).await?;
            return format.say(&withdrew.json(), || withdrew.text());
        }
        let notes = self.notes()?;
        let week = match self.week {
            Some(week) => Some(week.among(&open_weeks(workspace).await?)),
            None => None,
        };
        let choice = Choice {
            week,
            protocol: self.protocol,
        };
        let mut numbers = self.reissue;
        numbers.sort_unstable();
        numbers.dedup();
        let wish = match (self.correct.zip(reason), numbers.is_empty()) {
            (Some((number, reason)), _) => Wish::Correction(number, reason),
            (None, false) => Wish::Updates(numbers),
            (None, true) if self.issue => Wish::Week(choice),
            (None, true) => {
                let drafts = draft(workspace, &choice, &notes).await?;
                return format.say(&drafts.json(), || drafts.text());
            }
        };
        let plan = plan(workspace, &wish, notes, Timestamp::now()).await?;
        if plan.needs_confirmation() && !self.yes {
            if !can_ask() {
                let what = format!(
                    "{} would be issued, and nobody is here to confirm it",
                    plan.in_words()
                );
                return Err(Failure::new(Kind::Publish, what).mend(
                    "look at the drafts (`bractline alert`), then add --yes; or name one alert with --week and --protocol",
                ));
            }
            report::note(&plan.text());
            if !confirmed("Issue them?")? {
                report::note(NOTHING_CHANGED);
                return Ok(Outcome::Done);
            }
        }
        let issued = plan.issue().await?;
        format.say(&issued.json(), || issued.text())
    }

    fn notes(&self) -> Result<Notes, Failure> {
        Ok(match (&self.note, &self.notes) {
            (Some(file), _) => Notes::Text(read_note(file)?),
            (None, Some(folder)) => Notes::Each(read_notes(folder)?),
            (None, None) if self.no_note => Notes::None,
            (None, None) => Notes::AsBefore,
        })
    }
}
