//! The seasons of a store compared, as tables and as a page.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde::Serialize;

use super::figures::SeasonFigures;
use super::week_starts::week_starts_in_words;
use crate::figures::described_table::DescribedTable;
use crate::figures::map::columns::{DescribedFiles, columns_page};
use crate::figures::rolled_up::docs;
use crate::seasons::season::{FigureTrend, Season, seasons_of, trends_of};
use crate::seasons::season_heat_tables::{county_season_heat_table, season_week_table};
use crate::seasons::season_place::heat_in_words;
use crate::seasons::season_tables::{county_season_table, trend_table};
use crate::seasons::season_weeks::{SeasonWeek, season_weeks};
use crate::seasons::trend_page::{ComparedSeasons, Heat, trend_html};
use crate::shared::files::{OutputFile, borrowed, write_public_and_private};
use crate::shared::report;
use crate::shared::report::counted;
use crate::shared::tables::{write_csv, write_parquet};
use crate::workspace::Workspace;
use disclosure::public_row::PublicRow;
use scouting::failure::Failure;
use stats::trend::score_needed::SEASONS_LEAST;

/// The line of a page or a list of columns that is based on rows that are not public.
const PRIVATE: &str = "Private: based on rows that are not public yet.";

/// What was written. Seasons, verdicts and degree-days are those of the private folder, which has all that is public too.
#[derive(Debug, Serialize)]
pub(crate) struct Written {
    store_version: i64,
    /// Seasons with visits, ascending.
    seasons: Vec<i32>,
    /// Whether any figure of any place has enough of them for a trend.
    enough_seasons: bool,
    /// How many figures of places there are of each word of the column `verdict`.
    verdicts: BTreeMap<&'static str, usize>,
    /// Which degree-days are known.
    heat: String,
    /// County-weeks that are public.
    public_county_weeks: usize,
    /// County-weeks that are not, or not as they are now, and would be if every week were published now.
    private_county_weeks: usize,
    /// Files that are based on what is public.
    public: Vec<PathBuf>,
    /// Files for the office.
    private: Vec<PathBuf>,
}

impl Written {
    /// For people.
    pub(crate) fn text(&self) -> String {
        let listed = |before: &str, files: &[PathBuf]| -> String {
            files
                .iter()
                .map(|file| format!("\n  {before}{}", file.display()))
                .collect()
        };
        let tested = match self.enough_seasons {
            true => self.verdicts_text(),
            false => format!(
                "too few seasons to test for a trend: it takes {SEASONS_LEAST} seasons with figures or more"
            ),
        };
        format!(
            "compared {} from store version {}\n{}\n{tested}\n{}{}{}",
            counted(self.seasons.len() as u64, "season", "seasons"),
            self.store_version,
            self.rows_text(),
            self.heat,
            listed("public: ", &self.public),
            listed("private: ", &self.private),
        )
    }

    fn rows_text(&self) -> String {
        let public = counted(
            self.public_county_weeks as u64,
            "county-week is",
            "county-weeks are",
        );
        let rows = format!(
            "{public} public, {} not public yet",
            self.private_county_weeks
        );
        match (self.public_county_weeks, self.private_county_weeks) {
            (0, 0) => format!("{rows}: no county has enough fields in any week"),
            (_, 0) => rows,
            (0, _) => format!(
                "{rows}: the tables in the folder public are empty\n{}",
                how_to_publish()
            ),
            (_, _) => format!("{rows}\n{}", how_to_publish()),
        }
    }

    fn verdicts_text(&self) -> String {
        let count = |word| self.verdicts.get(word).copied().unwrap_or(0);
        format!(
            "of the figures of places, {} rise and {} fall, {} have no significant trend, {} have too few seasons, {} were \
             not reached in every season",
            count("rises"),
            count("falls"),
            count("not-significant"),
            count("too-few-seasons"),
            count("not-reached"),
        )
    }
}

fn how_to_publish() -> &'static str {
    "help: publish a week with `bractline alert --week WEEK --issue`, or every week with `bractline export --level public \
     --out DIR`"
}

/// Compares the seasons of a version of the store, or of the newest if none is named, and writes the folders `public` and `private` of `out`.
///
/// # Errors
/// A [`Failure`] if a folder cannot be written.
pub(crate) async fn compare_seasons(
    workspace: &Workspace,
    store_version: Option<i64>,
    out: &Path,
) -> Result<Written, Failure> {
    let figures = SeasonFigures::of(workspace, store_version).await?;
    let not_public = figures.private_county_weeks();
    if let Some(said) = week_starts_in_words(&figures.published_now) {
        report::note(&format!("note: {said}"));
    }
    let public = Compared::of(&figures, &figures.public);
    let private = Compared::of(&figures, &figures.published_now);
    let public_files = public.files(&figures, None)?;
    let notice = (not_public > 0).then_some(PRIVATE);
    let private_files = private.files(&figures, notice)?;
    let folders = ["public", "private"].map(|name| out.join(name));
    let (public_bytes, private_bytes) = (borrowed(&public_files), borrowed(&private_files));
    write_public_and_private(out, &public_bytes, &private_bytes)?;
    Ok(Written {
        store_version: figures.store_version,
        seasons: private.years(),
        enough_seasons: private.has_enough_seasons(),
        verdicts: private.verdicts(),
        heat: private.heat.said,
        public_county_weeks: figures.public_county_weeks(),
        private_county_weeks: not_public,
        public: paths(&folders[0], &public_files),
        private: paths(&folders[1], &private_files),
    })
}

fn paths(folder: &Path, files: &[OutputFile]) -> Vec<PathBuf> {
    files.iter().map(|(name, _)| folder.join(name)).collect()
}

/// Seasons compared by a set of rows.
struct Compared<'a> {
    rows: &'a [PublicRow],
    seasons: Vec<Season>,
    trends: Vec<FigureTrend>,
    weeks: Vec<SeasonWeek>,
    heat: Heat,
    /// Which season starts its weeks on which day, where they differ.
    week_starts: Option<String>,
}

impl<'a> Compared<'a> {
    fn of(figures: &SeasonFigures, rows: &'a [PublicRow]) -> Compared<'a> {
        let seasons = seasons_of(rows, &figures.counties, &figures.heat);
        let weeks = season_weeks(&seasons);
        let known = weeks.iter().filter(|week| week.heat.is_some()).count();
        let from = figures.heat.from();
        Compared {
            rows,
            trends: trends_of(&seasons),
            heat: Heat {
                from,
                said: heat_in_words(from, known, weeks.len()),
                units: figures.units,
            },
            week_starts: week_starts_in_words(rows),
            seasons,
            weeks,
        }
    }

    fn years(&self) -> Vec<i32> {
        let mut years: Vec<i32> = self.seasons.iter().map(|season| season.season).collect();
        years.sort_unstable();
        years.dedup();
        years
    }

    fn has_enough_seasons(&self) -> bool {
        let mut trends = self.trends.iter();
        trends.any(|trend| trend.seasons.len() >= SEASONS_LEAST)
    }

    fn verdicts(&self) -> BTreeMap<&'static str, usize> {
        let mut verdicts = BTreeMap::new();
        for trend in &self.trends {
            *verdicts.entry(trend.word()).or_insert(0) += 1;
        }
        verdicts
    }

    /// What a folder holds; `private` is the notice that not all of it is public.
    fn files(
        &self,
        figures: &SeasonFigures,
        private: Option<&str>,
    ) -> Result<Vec<OutputFile>, Failure> {
        let tables = Tables {
            seasons: county_season_table(&self.seasons)?,
            heat: county_season_heat_table(&self.seasons)?,
            weeks: season_week_table(&self.weeks)?,
            trends: trend_table(&self.trends)?,
        };
        let mut files = tables.files(figures.region.invented())?;
        let columns = tables.columns(figures, &self.heat.said, private);
        files.push(("TREND_COLUMNS.md", columns.into_bytes()));
        let page = trend_html(&ComparedSeasons {
            region: &figures.region,
            catalogue: &figures.catalogue,
            seasons: &self.seasons,
            rows: self.rows,
            trends: &self.trends,
            weeks: &self.weeks,
            heat: &self.heat,
            week_starts: self.week_starts.as_deref(),
            store_version: figures.store_version,
            private,
        })?;
        files.push(("trend.html", page.into_bytes()));
        Ok(files)
    }
}

/// The tables that are written.
struct Tables {
    seasons: DescribedTable,
    heat: DescribedTable,
    weeks: DescribedTable,
    trends: DescribedTable,
}

impl Tables {
    fn files(&self, invented: Option<&str>) -> Result<Vec<OutputFile>, Failure> {
        let mut files = Vec::new();
        for (csv, parquet, table) in [
            ("county_season.csv", "county_season.parquet", &self.seasons),
            (
                "county_season_heat.csv",
                "county_season_heat.parquet",
                &self.heat,
            ),
            ("season_week.csv", "season_week.parquet", &self.weeks),
            ("trend.csv", "trend.parquet", &self.trends),
        ] {
            let docs = docs(&table.columns);
            files.push((csv, write_csv(&table.batch, &docs)?));
            files.push((parquet, write_parquet(&table.batch, &docs, invented)?));
        }
        Ok(files)
    }

    fn columns(&self, figures: &SeasonFigures, heat: &str, private: Option<&str>) -> String {
        let about_heat = format!("The same by degree-days in place of the calendar. {heat}");
        let tables = [
            (
                &self.seasons,
                "county_season.csv, county_season.parquet",
                "One row per county, season and protocol, and one for the region. All of it is computed from the rows of \
                 county_week that have a class of the median. Which weeks and which counties have one may differ from \
                 season to season: the beginning of a season that was seen in its middle alone is not known.",
            ),
            (
                &self.heat,
                "county_season_heat.csv, county_season_heat.parquet",
                &*about_heat,
            ),
            (
                &self.weeks,
                "season_week.csv, season_week.parquet",
                "One row per week with a pressure of a county or of the region, and its rank among the earlier seasons: at \
                 the same week of the year, and at the same degree-days. Which counties and fields were visited differs \
                 from season to season, and that changes a rank too.",
            ),
            (
                &self.trends,
                "trend.csv, trend.parquet",
                "One row per figure of a county or of the region: whether it rises or falls over the seasons. A verdict takes \
                 five seasons, and holds even where each season resembles the one before it. Few seasons show large \
                 changes only: slope_detectable says which. Many tests were run; expect a few false positives (multiple \
                 comparisons).",
            ),
        ];
        let docs = tables.map(|(table, ..)| docs(&table.columns));
        let described: Vec<DescribedFiles> = tables
            .iter()
            .zip(&docs)
            .map(|((_, names, about), docs)| DescribedFiles {
                names,
                about,
                docs,
                has_days: false,
                has_status: false,
            })
            .collect();
        let rows = match private {
            Some(_) => &figures.published_now,
            None => &figures.public,
        };
        let page = columns_page(&figures.region, &described, figures.protocols_of(rows));
        match (private, page.split_once('\n')) {
            (Some(notice), Some((heading, rest))) => {
                format!("{heading}\n\n**{notice}**\n{rest}")
            }
            _ => page,
        }
    }
}
