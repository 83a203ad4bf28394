//! `bractline senders`: who reported, who has not, and how their records fared.

use std::path::PathBuf;

use crate::cli::terminal::format::{Format, Outcome};
use crate::senders::list::{newest_season, reports_of, season_senders, senders_text};
use crate::senders::missing::{missing, missing_text, write_letters};
use crate::senders::missing_sender::Asked;
use crate::senders::stats::SenderStats;
use crate::shared::files::write_private_file;
use crate::shared::report;
use crate::workspace::Workspace;
use crate::workspace::contacts::Contacts;
use crate::workspace::open::{open_catalogue, open_store, open_weeks};
use scouting::failure::Failure;
use scouting::visit::week::NamedWeek;
use store::ledger::held::open_entries;

/// The senders of a season: list them, who is missing, how their records fared
#[derive(Debug, clap::Subcommand)]
pub(super) enum Senders {
    /// List the senders of a season with their last submission and their visits by week
    #[command(
        after_help = "Examples:\n  bractline senders list\n  bractline senders list --season 2025 --format json\n\nA sender is named by `load --sender`, by a mapping, or by the folder of a file. Where none is known, the scout takes its place. The list is private."
    )]
    List {
        /// ISO week-year; the newest if it is left out
        #[arg(long, value_name = "YEAR")]
        season: Option<i32>,
        /// How to report
        #[arg(long, value_enum, default_value = "text")]
        format: Format,
    },
    /// List who has not reported a week, and write letters to them
    #[command(
        after_help = "Examples:\n  bractline senders missing --week 2026-W33\n  bractline senders missing --week 2026-W33 --protocol bsm-eggs --letters reminders/\n\nThose who reported earlier in the season or are in the contact list are expected. The contact list is contacts.csv in the workspace, with the columns sender, name, email and protocols (several with a space between); only its owner may be able to read it (chmod 600)."
    )]
    Missing {
        /// Week of the visits, as 2026-W33 or a day of it
        #[arg(long, value_name = "WEEK")]
        week: NamedWeek,
        /// Only visits under this protocol
        #[arg(long, value_name = "ID")]
        protocol: Option<String>,
        /// A new folder for a letter to each of them
        #[arg(long, value_name = "DIR")]
        letters: Option<PathBuf>,
        /// How to report
        #[arg(long, value_enum, default_value = "text")]
        format: Format,
    },
    /// Count held and flagged records and days of delay, by sender and by scout
    #[command(
        after_help = "Examples:\n  bractline senders stats\n  bractline senders stats --season 2026 --out senders.csv\n\nThe figures are private: they name people. Days of delay are from the visit to the time at which its record was handed in, in UTC. A record that was held is counted in the year in which it was received."
    )]
    Stats {
        /// ISO week-year; the newest if it is left out
        #[arg(long, value_name = "YEAR")]
        season: Option<i32>,
        /// Write a CSV file that only you can read instead
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
        /// How to report
        #[arg(long, value_enum, default_value = "text")]
        format: Format,
    },
}

impl Senders {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let weeks = open_weeks(workspace).await?;
        let reports = reports_of(workspace, &weeks).await?;
        match self {
            Senders::List { season, format } => {
                let season = season.or_else(|| newest_season(&reports));
                let senders =
                    season.map_or_else(Vec::new, |season| season_senders(&reports, season));
                format.say(&senders, || senders_text(season, &senders))
            }
            Senders::Missing {
                week,
                protocol,
                letters,
                format,
            } => {
                let asked = Asked::of(week.among(&weeks), protocol, &open_catalogue(workspace)?)?;
                let held = open_entries(&open_store(workspace).await?).await?;
                let missing = missing(&asked, &reports, &Contacts::read(workspace)?, &held);
                if let Some(folder) = letters {
                    report::note(&write_letters(&folder, &asked, &missing, &weeks)?);
                }
                format.say(&missing, || missing_text(&asked, &missing))
            }
            Senders::Stats {
                season,
                out,
                format,
            } => {
                let Some(season) = season.or_else(|| newest_season(&reports)) else {
                    report::say("nobody has reported yet")?;
                    return Ok(Outcome::Done);
                };
                let stats = SenderStats::of(&reports, season);
                if let Some(path) = out {
                    write_private_file(&path, &stats.csv()?)?;
                    report::say(&format!("wrote {}", path.display()))?;
                    return Ok(Outcome::Done);
                }
                format.say(&stats, || stats.text())
            }
        }
    }
}
