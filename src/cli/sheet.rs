//! `bractline sheet`: count sheets for scouts.

use std::path::PathBuf;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::cli::terminal::format::Outcome;
use crate::count_sheet::write::{WantedSheets, write_sheets};
use crate::shared::report;
use crate::workspace::Workspace;
use scouting::failure::Failure;

/// Create count sheets for scouts: a spreadsheet that `load` reads, and pages to print
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline sheet --protocol bsm-eggs --out sheets\n  bractline sheet --protocol bsm-eggs --visits 12 --sites 8 --totals --out sheets\n\nWrites count-sheet-PROTOCOL.xlsx and count-sheet-PROTOCOL.html. It needs no workspace; in one it takes its season, its units and its own protocols. A filled spreadsheet goes back with: bractline load FILE"
)]
pub(crate) struct Sheet {
    /// Id of the protocol, as `bractline protocols list` shows it
    #[arg(long, value_name = "ID")]
    protocol: String,

    /// Output folder
    #[arg(long, value_name = "DIR")]
    out: PathBuf,

    /// Number of visits
    #[arg(long, value_name = "NUMBER", default_value_t = 8)]
    visits: usize,

    /// Sites per visit [default: the protocol's minimum number]
    #[arg(long, value_name = "NUMBER")]
    sites: Option<usize>,

    /// One total for each head in place of a count for each bract
    #[arg(long)]
    totals: bool,

    /// Year of the season's first day [default: this year]
    #[arg(long, value_name = "YEAR", value_parser = clap::value_parser!(i16).range(1900..=2900))]
    season: Option<i16>,
}

impl Sheet {
    pub(super) async fn run(self, workspace: Option<&Workspace>) -> Result<Outcome, Failure> {
        let wanted = WantedSheets {
            protocol: self.protocol,
            out: self.out,
            visits: self.visits,
            sites: self.sites,
            totals_only: self.totals,
            year: self.season.unwrap_or_else(this_year),
        };
        let paths = write_sheets(workspace, &wanted)?;
        report::say(&paths.map(|path| path.display().to_string()).join("\n"))?;
        Ok(Outcome::Done)
    }
}

fn this_year() -> i16 {
    TimeZone::UTC.to_datetime(Timestamp::now()).year()
}
