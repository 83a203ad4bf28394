//! `bractline trend`: the seasons of the store compared, as tables and as a page. Their figures are computed elsewhere.

use std::path::PathBuf;

use crate::cli::terminal::format::{Format, Outcome};
use crate::seasons::compare::compare_seasons;
use crate::workspace::Workspace;
use scouting::failure::Failure;

/// Compare seasons and test for trends
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  bractline trend --out seasons\n\nWrites two folders with the same files. DIR/public is based on rows that are public: issued with an alert, or exported with `bractline export --level public`. DIR/private also counts the rows that would be public if every week were published now; as long as there are such rows, its page and TREND_COLUMNS.md are marked private. Only their owner can read the files of DIR/private.\n\ncounty_season (.csv and .parquet): when a season begins, how high the pressure rises and how long it stays there county_season_heat: the same by degree-days, where the workspace has temperatures season_week: the rank of each week among the same week of earlier seasons trend: whether any of these figures rises or falls over the seasons trend.html: for each pest a small map of each week of its newest season, and the weeks of each season in color, by county; it prints as the report of a season TREND_COLUMNS.md: what the columns mean\n\nThe pressure of a week is the middle of the class of the median, for the region the mean of its counties. Values are means and proportions: more visits do not mean more pests."
)]
pub(crate) struct Trend {
    /// From this version of the store, with the settings of today
    #[arg(long, value_name = "VERSION")]
    store_version: Option<i64>,

    /// Output folder
    #[arg(long, value_name = "DIR")]
    out: PathBuf,

    /// Output format
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl Trend {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let written = compare_seasons(workspace, self.store_version, &self.out).await?;
        self.format.say(&written, || written.text())
    }
}
