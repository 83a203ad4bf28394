//! `bractline trend`: the seasons of the store compared, as tables and as a page. What is said of them is worked out elsewhere.

use std::collections::BTreeMap;
use std::path::PathBuf;

use serde::Serialize;

use super::report::{self, counted};
use super::rollup::docs;
use super::season_figures::SeasonFigures;
use super::{Format, Outcome};
use crate::failure::Failure;
use crate::publish::files::write_folder;
use crate::publish::map_columns::{DescribedFiles, columns_page};
use crate::publish::season_place::heat_in_words;
use crate::publish::tables::{write_csv, write_parquet};
use crate::publish::trend_page::{Heat, trend_html};
use crate::region::Region;
use crate::rollup::dispersion::DescribedTable;
use crate::rollup::season_heat_tables::{county_season_heat_table, season_week_table};
use crate::rollup::season_tables::{county_season_table, trend_table};
use crate::rollup::season_weeks::season_weeks;
use crate::rollup::seasons::{FigureTrend, seasons_of, trends_of};
use crate::statistics::season_trend::SEASONS_LEAST;
use crate::workspace::Workspace;

/// Compare the seasons of the store
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  bractline trend --out seasons\n\nWrites what may be published: county_season.csv and .parquet (when a season begins, how high it\ngoes, how long it stays there), county_season_heat (the same by degree-days, where the workspace has temperatures),\nseason_week (where each week stands among the same week of earlier seasons), trend.csv and .parquet (whether\nany of it rises or falls), trend.html (the weeks of each season in colour, by county) and TREND_COLUMNS.md (what the columns mean). They rest on county-weeks that are shown alone, and on\nshares and means: a season with twice the visits is not twice the pest."
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
    /// What degree-days there are.
    heat: String,
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
        let heat = &self.heat;
        format!("compared {seasons} from store version {version}\n{said}\n{heat}{files}")
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
        let figures = SeasonFigures::of(workspace).await?;
        let seasons = seasons_of(&figures.county_weeks, &figures.heat);
        let trends = trends_of(&seasons);
        let weeks = season_weeks(&seasons);
        let known = weeks.iter().filter(|week| week.heat.is_some()).count();
        let heat = Heat {
            from: figures.heat.from(),
            said: heat_in_words(figures.heat.from(), known, weeks.len()),
        };
        let tables = Tables {
            seasons: county_season_table(&seasons)?,
            heat: county_season_heat_table(&seasons)?,
            weeks: season_week_table(&weeks)?,
            trends: trend_table(&trends)?,
        };
        let mut files = files(&figures.region, &tables, &heat.said)?;
        let page = trend_html(
            &figures.region,
            &seasons,
            &trends,
            &weeks,
            &heat,
            figures.store_version,
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
            store_version: figures.store_version,
            seasons: years,
            enough_seasons: trends.iter().any(enough),
            verdicts,
            heat: heat.said,
            public: files.iter().map(|(name, _)| self.out.join(name)).collect(),
        };
        match self.format {
            Format::Text => report::say(&written.text())?,
            Format::Json => report::say_json(&written)?,
        }
        Ok(Outcome::Done)
    }
}

/// The tables that are written.
struct Tables {
    seasons: DescribedTable,
    heat: DescribedTable,
    weeks: DescribedTable,
    trends: DescribedTable,
}

/// What is written, by name.
fn files(
    region: &Region,
    tables: &Tables,
    heat: &str,
) -> Result<Vec<(&'static str, Vec<u8>)>, Failure> {
    let (season_docs, heat_docs) = (docs(&tables.seasons.columns), docs(&tables.heat.columns));
    let (week_docs, trend_docs) = (docs(&tables.weeks.columns), docs(&tables.trends.columns));
    let about_heat = format!("The same by heat in place of the calendar. {heat}");
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
                "county_season_heat.csv, county_season_heat.parquet",
                &about_heat,
                &heat_docs,
            ),
            described(
                "season_week.csv, season_week.parquet",
                "One row a week with figures of a county or of the region, and where it stands among the earlier seasons: at the \
                 same week of the year, and at the same heat. Which counties and fields were visited differs from season to \
                 season, and that moves a place too.",
                &week_docs,
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
    let mut files = Vec::new();
    for (csv, parquet, table, docs) in [
        (
            "county_season.csv",
            "county_season.parquet",
            &tables.seasons,
            &season_docs,
        ),
        (
            "county_season_heat.csv",
            "county_season_heat.parquet",
            &tables.heat,
            &heat_docs,
        ),
        (
            "season_week.csv",
            "season_week.parquet",
            &tables.weeks,
            &week_docs,
        ),
        ("trend.csv", "trend.parquet", &tables.trends, &trend_docs),
    ] {
        files.push((csv, write_csv(&table.batch, docs)?));
        files.push((parquet, write_parquet(&table.batch, docs, invented)?));
    }
    files.push(("TREND_COLUMNS.md", page.into_bytes()));
    Ok(files)
}
