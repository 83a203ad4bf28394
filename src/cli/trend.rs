//! `bractline trend`: the seasons of the store compared, as tables and as a page. What is said of them is worked out elsewhere.

use std::collections::BTreeMap;
use std::path::PathBuf;

use serde::Serialize;

use super::report::{self, counted};
use super::rollup::{Figures, docs};
use super::{Format, Outcome};
use crate::failure::Failure;
use crate::publish::files::write_folder;
use crate::publish::map_columns::{DescribedFiles, columns_page};
use crate::publish::tables::{write_csv, write_parquet};
use crate::publish::trend_page::trend_html;
use crate::region::Region;
use crate::rollup::dispersion::DescribedTable;
use crate::rollup::season_tables::{county_season_table, trend_table};
use crate::rollup::seasons::{FigureTrend, seasons_of, trends_of};
use crate::statistics::season_trend::SEASONS_LEAST;
use crate::workspace::Workspace;

/// Compare the seasons of the store
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  bractline trend --out seasons\n\nWrites what may be published: county_season.csv and .parquet (when a season begins, how high it\ngoes, how long it stays there), trend.csv and .parquet (whether that rises or falls),\ntrend.html (the weeks of each season in colour, by county) and TREND_COLUMNS.md (what the columns mean). They rest on county-weeks that are shown alone, and on\nshares and means: a season with twice the visits is not twice the pest."
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
    /// Whether any figure of any place has enough of them for a trend.
    enough_seasons: bool,
    /// How many figures of places there are of each word of the column `verdict`.
    verdicts: BTreeMap<&'static str, usize>,
    /// Files that may be published.
    public: Vec<PathBuf>,
}

impl Written {
    fn text(&self) -> String {
        let seasons = counted(self.seasons.len() as u64, "season", "seasons");
        let said = match self.enough_seasons {
            true => self.verdicts_text(),
            false => format!(
                "the data cannot bear a trend: that takes {SEASONS_LEAST} seasons with figures or more"
            ),
        };
        let files = self
            .public
            .iter()
            .map(|file| format!("\n  {}", file.display()));
        let files: String = files.collect();
        let version = self.store_version;
        format!("compared {seasons} from store version {version}\n{said}{files}")
    }

    fn verdicts_text(&self) -> String {
        let count = |word| self.verdicts.get(word).copied().unwrap_or(0);
        format!(
            "of the figures of places, {} rise and {} fall, {} cannot be told from chance, {} have too few seasons",
            count("rises"),
            count("falls"),
            count("not-told"),
            count("too-few-seasons"),
        )
    }
}

impl Trend {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let figures = Figures::of(workspace).await?;
        let seasons = seasons_of(&figures.county_weeks);
        let trends = trends_of(&seasons);
        let mut files = files(
            &figures.region,
            &county_season_table(&seasons)?,
            &trend_table(&trends)?,
        )?;
        let page = trend_html(
            &figures.region,
            &seasons,
            &trends,
            figures.rollup.store_version,
        )?;
        files.push(("trend.html", page.into_bytes()));
        let borrowed: Vec<(&str, &[u8])> = files
            .iter()
            .map(|(name, bytes)| (*name, &**bytes))
            .collect();
        write_folder(&self.out, &borrowed)?;
        let mut years: Vec<i32> = seasons.iter().map(|season| season.season).collect();
        years.sort_unstable();
        years.dedup();
        let enough = |trend: &FigureTrend| trend.seasons.len() >= SEASONS_LEAST;
        let mut verdicts = BTreeMap::new();
        for trend in &trends {
            *verdicts.entry(trend.word()).or_insert(0) += 1;
        }
        let written = Written {
            store_version: figures.rollup.store_version,
            seasons: years,
            enough_seasons: trends.iter().any(enough),
            verdicts,
            public: files.iter().map(|(name, _)| self.out.join(name)).collect(),
        };
        match self.format {
            Format::Text => report::say(&written.text())?,
            Format::Json => report::say_json(&written)?,
        }
        Ok(Outcome::Done)
    }
}

/// What is written, by name.
fn files(
    region: &Region,
    seasons: &DescribedTable,
    trends: &DescribedTable,
) -> Result<Vec<(&'static str, Vec<u8>)>, Failure> {
    let (season_docs, trend_docs) = (docs(&seasons.columns), docs(&trends.columns));
    let described = |names, about, docs| DescribedFiles {
        names,
        about,
        docs,
        has_days: false,
        has_status: false,
    };
    let page = columns_page(
        region,
        &[
            described(
                "county_season.csv, county_season.parquet",
                "One row a county, season and protocol, and one for the region. Which weeks and which counties are shown \
                 may differ from season to season: a season seen in its middle alone has no known beginning.",
                &season_docs,
            ),
            described(
                "trend.csv, trend.parquet",
                "One row a figure of a county or of the region: whether it rises or falls over the seasons. Many rows are \
                 many tests: of a hundred figures without a trend a few are called one by chance.",
                &trend_docs,
            ),
        ],
    );
    let invented = region.invented();
    Ok(vec![
        (
            "county_season.csv",
            write_csv(&seasons.batch, &season_docs)?,
        ),
        (
            "county_season.parquet",
            write_parquet(&seasons.batch, &season_docs, invented)?,
        ),
        ("trend.csv", write_csv(&trends.batch, &trend_docs)?),
        (
            "trend.parquet",
            write_parquet(&trends.batch, &trend_docs, invented)?,
        ),
        ("TREND_COLUMNS.md", page.into_bytes()),
    ])
}
