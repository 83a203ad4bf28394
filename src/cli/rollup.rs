//! `bractline rollup`: county-weeks and field-weeks as files.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::report::{self, counted};
use super::{Format, Outcome, open_catalogue, open_region, open_store, roll_up_setting, workers};
use crate::failure::Failure;
use crate::protocol::catalogue::Catalogue;
use crate::publish::files::write_folder;
use crate::publish::geo::{Coverage, county_week_geojson};
use crate::publish::tables::{ColumnDoc, write_csv, write_parquet};
use crate::region::Region;
use crate::rollup::county_week::CountyWeek;
use crate::rollup::run::{Period, Rollup, StageTable, roll_up};
use crate::store::snapshot::Snapshot;
use crate::visit::week::IsoWeek;
use crate::workspace::Workspace;

/// Roll visits up by county and week
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline rollup --out figures\n  bractline rollup --week 2026-W30 --out figures-w30\n\nWrites county_week.csv, county_week.parquet and county_week.geojson, which may be published, and\nfield_week.parquet, which is private: it names fields. With --week the GeoJSON holds every county of the region."
)]
pub struct RollupCommand {
    /// One ISO 8601 week, as 2026-W30
    #[arg(long, value_name = "WEEK", conflicts_with = "season")]
    week: Option<IsoWeek>,

    /// One season: an ISO week-year, as 2026
    #[arg(long, value_name = "YEAR")]
    season: Option<i32>,

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
    county_weeks: usize,
    suppressed: usize,
    /// Files that may be published.
    public: Vec<PathBuf>,
    /// Files that name fields.
    private: Vec<PathBuf>,
}

impl Written {
    fn text(&self) -> String {
        let listed = |before: &str, files: &[PathBuf]| -> String {
            files
                .iter()
                .map(|file| format!("\n  {before}{}", file.display()))
                .collect()
        };
        format!(
            "rolled up {} ({} suppressed) from store version {}{}{}",
            counted(self.county_weeks as u64, "county-week", "county-weeks"),
            self.suppressed,
            self.store_version,
            listed("", &self.public),
            listed("private: ", &self.private),
        )
    }
}

impl RollupCommand {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let figures = Figures::of(workspace).await?;
        let period = match (self.week, self.season) {
            (Some(week), _) => Period::Week(week),
            (None, Some(season)) => Period::Season(season),
            (None, None) => Period::All,
        };
        let written = figures.write(period, &self.out)?;
        match self.format {
            Format::Text => report::say(&written.text())?,
            Format::Json => report::say_json(&written)?,
        }
        Ok(Outcome::Done)
    }
}

/// A workspace rolled up, with what is needed to write its figures.
pub(super) struct Figures {
    pub(super) region: Region,
    pub(super) catalogue: Catalogue,
    pub(super) rollup: Rollup,
    pub(super) county_weeks: Vec<CountyWeek>,
    /// When the newest submission came in.
    pub(super) received_until: Option<jiff::Timestamp>,
}

impl Figures {
    /// Rolls the newest version of the store up.
    pub(super) async fn of(workspace: &Workspace) -> Result<Figures, Failure> {
        let region = open_region(workspace)?;
        let catalogue = open_catalogue(workspace)?;
        let snapshot = Snapshot::open(&open_store(workspace).await?, workers()).await?;
        Figures::at(workspace, region, catalogue, &snapshot).await
    }

    /// Rolls a version of the store up, with what is given beside it.
    pub(super) async fn at(
        workspace: &Workspace,
        region: Region,
        catalogue: Catalogue,
        snapshot: &Snapshot,
    ) -> Result<Figures, Failure> {
        let received_until = snapshot.received_until().await?;
        let rollup = roll_up(snapshot, &catalogue, &roll_up_setting(workspace, &region)).await?;
        let county_weeks =
            CountyWeek::from_batches(std::slice::from_ref(&rollup.county_week().batch))?;
        Ok(Figures {
            region,
            catalogue,
            rollup,
            county_weeks,
            received_until,
        })
    }

    /// The county-weeks of a period.
    pub(super) fn rows(&self, period: Period) -> Vec<CountyWeek> {
        self.county_weeks
            .iter()
            .filter(|row| period.holds(&row.iso_week, row.season))
            .cloned()
            .collect()
    }

    /// Ids of the protocols that the store has visits of; of all where it has none.
    pub(super) fn protocols(&self) -> Vec<&str> {
        let mut ids: Vec<&str> = self
            .county_weeks
            .iter()
            .map(|row| row.protocol.as_str())
            .collect();
        ids.sort_unstable();
        ids.dedup();
        if ids.is_empty() {
            ids.extend(
                self.catalogue
                    .protocols()
                    .map(|protocol| protocol.id.as_str()),
            );
        }
        ids
    }

    /// The county-weeks of a period as GeoJSON.
    pub(super) fn geojson(&self, period: Period, rows: &[CountyWeek]) -> Result<Vec<u8>, Failure> {
        let protocols = self.protocols();
        let week = match period {
            Period::Week(week) => Some(week.to_string()),
            Period::Season(_) | Period::All => None,
        };
        let coverage = week
            .as_deref()
            .map_or(Coverage::VisitedCounties, |iso_week| Coverage::WholeWeek {
                iso_week,
                protocols: &protocols,
            });
        county_week_geojson(&self.region, rows, coverage)
    }

    /// The county-weeks of a period as CSV.
    pub(super) fn csv(&self, period: Period) -> Result<Vec<u8>, Failure> {
        let table = self.rollup.county_week();
        write_csv(&table.rows_of(period)?, &docs(table))
    }

    fn write(&self, period: Period, out: &Path) -> Result<Written, Failure> {
        let rows = self.rows(period);
        let parquet = |table: &StageTable| {
            write_parquet(
                &table.rows_of(period)?,
                &docs(table),
                self.region.invented(),
            )
        };
        write_folder(
            out,
            &[
                ("county_week.csv", &self.csv(period)?),
                ("county_week.parquet", &parquet(self.rollup.county_week())?),
                ("county_week.geojson", &self.geojson(period, &rows)?),
                ("field_week.parquet", &parquet(self.rollup.field_week())?),
            ],
        )?;
        let within = |names: &[&str]| names.iter().map(|name| out.join(name)).collect();
        Ok(Written {
            store_version: self.rollup.store_version,
            county_weeks: rows.len(),
            suppressed: rows.iter().filter(|row| row.suppressed).count(),
            public: within(&[
                "county_week.csv",
                "county_week.parquet",
                "county_week.geojson",
            ]),
            private: within(&["field_week.parquet"]),
        })
    }
}

/// Rolls up and writes, for commands that do more.
pub(super) async fn roll_up_to(workspace: &Workspace, out: &Path) -> Result<Figures, Failure> {
    let figures = Figures::of(workspace).await?;
    figures.write(Period::All, out)?;
    Ok(figures)
}

fn docs(table: &StageTable) -> Vec<ColumnDoc<'_>> {
    table
        .stage
        .columns
        .iter()
        .map(|column| ColumnDoc {
            name: &column.name,
            description: &column.description,
            unit: column.unit.as_deref(),
        })
        .collect()
}
