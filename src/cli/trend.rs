//! `bractline trend`: the seasons of the store compared, as tables.

use std::path::PathBuf;

use serde::Serialize;

use super::report::{self, counted};
use super::rollup::{Figures, docs};
use super::{Format, Outcome};
use crate::failure::Failure;
use crate::publish::files::write_folder;
use crate::publish::tables::{write_csv, write_parquet};
use crate::rollup::season_tables::{county_season_table, trend_table};
use crate::rollup::seasons::{seasons_of, trends_of};
use crate::statistics::season_trend::SEASONS_LEAST;
use crate::workspace::Workspace;

/// Compare the seasons of the store
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  bractline trend --out seasons\n\nWrites what may be published: county_season.csv and .parquet (when a season begins, how high it goes, how long\nit stays there) and trend.csv and .parquet (whether that rises or falls). Both rest on county-weeks that are shown\nalone, and on shares and means: a season with twice the visits is not twice the pest."
)]
pub struct Trend {
    /// Folder to write to
    #[arg(long, value_name = "DIR")]
    out: PathBuf,

    /// How to report
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

/// What was written.
#[derive(Debug, Serialize)]
struct Written {
    store_version: i64,
    /// Seasons with visits, ascending.
    seasons: Vec<i32>,
    /// Whether there are enough of them for any trend.
    enough_seasons: bool,
    /// Files that may be published.
    public: Vec<PathBuf>,
}

impl Written {
    fn text(&self) -> String {
        let seasons = counted(self.seasons.len() as u64, "season", "seasons");
        let too_few = match self.enough_seasons {
            true => String::new(),
            false => format!("\nno trend is told: that takes {SEASONS_LEAST} seasons or more"),
        };
        let files = self
            .public
            .iter()
            .map(|file| format!("\n  {}", file.display()));
        let files: String = files.collect();
        let version = self.store_version;
        format!("compared {seasons} from store version {version}{too_few}{files}")
    }
}

impl Trend {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let figures = Figures::of(workspace).await?;
        let seasons = seasons_of(&figures.county_weeks);
        let season_table = county_season_table(&seasons)?;
        let trends = trend_table(&trends_of(&seasons))?;
        let invented = figures.region.invented();
        let mut files: Vec<(&str, Vec<u8>)> = Vec::new();
        for (names, table) in [
            (
                ["county_season.csv", "county_season.parquet"],
                &season_table,
            ),
            (["trend.csv", "trend.parquet"], &trends),
        ] {
            let docs = docs(&table.columns);
            files.push((names[0], write_csv(&table.batch, &docs)?));
            files.push((names[1], write_parquet(&table.batch, &docs, invented)?));
        }
        let borrowed: Vec<(&str, &[u8])> = files
            .iter()
            .map(|(name, bytes)| (*name, &**bytes))
            .collect();
        write_folder(&self.out, &borrowed)?;
        let mut years: Vec<i32> = seasons.iter().map(|season| season.season).collect();
        years.sort_unstable();
        years.dedup();
        let written = Written {
            store_version: figures.rollup.store_version,
            enough_seasons: years.len() >= SEASONS_LEAST,
            seasons: years,
            public: files.iter().map(|(name, _)| self.out.join(name)).collect(),
        };
        match self.format {
            Format::Text => report::say(&written.text())?,
            Format::Json => report::say_json(&written)?,
        }
        Ok(Outcome::Done)
    }
}
