//! `bractline rollup`: county-weeks and field-weeks as files.

use std::path::{Path, PathBuf};

use super::cluster::ClusterOptions;
use super::dispersion::{DispersionFiles, described};
use super::grid_setting::check_grid_of_store;
use super::report::{self, counted};
use super::rolled_up::Written;
use super::scenario::roll_up_under;
use super::setting::roll_up_setting;
use super::{Format, Outcome, open_catalogue, open_region, open_snapshot};
use crate::failure::Failure;
use crate::protocol::catalogue::Catalogue;
use crate::publish::files::write_folder;
use crate::publish::geo::{county_week_geojson, sample_points_geojson};
use crate::publish::geo_parquet::county_week_geo_parquet;
use crate::publish::map_columns::{DescribedFiles, columns_page};
use crate::publish::map_rows::{Coverage, MapRows};
use crate::publish::map_style::maplibre_style;
use crate::publish::qgis_style::qgis_style;
use crate::publish::tables::{ColumnDoc, write_csv, write_parquet};
use crate::publish::unseen::plain_text;
use crate::region::Region;
use crate::rollup::arrivals::Arrivals;
use crate::rollup::county_week::CountyWeek;
use crate::rollup::engine::Elsewhere;
use crate::rollup::run::{Period, Rollup, StageTable};
use crate::rollup::scenario::Scenario;
use crate::rollup::stages::StageColumn;
use crate::rollup::wanted::roll_up_keeping;
use crate::rollup::week_heat::WeekHeat;
use crate::store::snapshot::Snapshot;
use crate::visit::week::IsoWeek;
use crate::workspace::Workspace;

/// Roll visits up by county and week
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline rollup --out figures\n  bractline rollup --week 2026-W30 --out figures-w30\n  bractline rollup --dispersion --out figures\n  bractline rollup --with 'price=*0.8,cost=9.50USD/acre' --out what-if\n\nWrites what may be published: county_week.csv, .parquet, .geojson and .geo.parquet, styles of the map for QGIS\n(.qml) and MapLibre (.style.json), sample_points.geojson, region_week, region_pressure and region_stage\n(.csv and .parquet), and COLUMNS.md; and field_week.parquet, which is private: it names fields. With --week the map holds every county of the region.\nWith --dispersion also how counts scatter: county_season_dispersion and season_power_law (.csv and .parquet),\nand visit_dispersion.parquet, which is private. It reads every unit of the store, so it takes longer.\nWith --with it writes a scenario in place of all this: the same visits under other prices, costs or stands, by factor\n(*0.8) or amount with unit and currency, with the loss avoided and net benefit a hectare. It is no finding: SCENARIO.md says so,\nand `alert` and `publish` refuse it."
)]
pub struct RollupCommand {
    /// One ISO 8601 week, as 2026-W30
    #[arg(long, value_name = "WEEK", conflicts_with = "season")]
    week: Option<IsoWeek>,

    /// One season: an ISO week-year, as 2026
    #[arg(long, value_name = "YEAR")]
    season: Option<i32>,

    /// Also write how counts scatter: k of the negative binomial, and Taylor's power law
    #[arg(long, conflicts_with = "week")]
    dispersion: bool,

    /// What if: other economics, as price=*0.8,cost=9.50USD/acre,population=22000/acre; writes a scenario alone
    #[arg(long = "with", value_name = "CHANGES", conflicts_with_all = ["dispersion", "cluster"])]
    scenario: Option<Scenario>,

    #[command(flatten)]
    cluster: ClusterOptions,

    /// Folder to write to
    #[arg(long, value_name = "DIR")]
    out: PathBuf,

    /// How to report
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl RollupCommand {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let period = match (self.week, self.season) {
            (Some(week), _) => Period::Week(week),
            (None, Some(season)) => Period::Season(season),
            (None, None) => Period::All,
        };
        if let Some(scenario) = &self.scenario {
            return roll_up_under(workspace, scenario, period, &self.out, self.format).await;
        }
        check_grid_of_store(workspace).await?;
        let snapshot = open_snapshot(workspace).await?;
        let cluster = self.cluster.join(workspace, &snapshot).await?;
        let figures = Figures::newest(workspace, &snapshot, cluster.as_deref()).await?;
        let dispersion = match self.dispersion {
            true => Some(DispersionFiles::of(workspace, &snapshot, &figures, self.season).await?),
            false => None,
        };
        let written = figures.write(period, dispersion.as_ref(), &self.out)?;
        match self.format {
            Format::Text => report::say(&written.text())?,
            Format::Json => report::say_json(&written)?,
        }
        Ok(Outcome::Done)
    }
}

/// A file's name and its bytes.
pub(super) type OutputFile = (&'static str, Vec<u8>);

/// A workspace rolled up, with what is needed to write its figures.
pub(super) struct Figures {
    pub(super) region: Region,
    pub(super) catalogue: Catalogue,
    pub(super) rollup: Rollup,
    pub(super) county_weeks: Vec<CountyWeek>,
    /// When the newest submission came in.
    pub(super) received_until: Option<jiff::Timestamp>,
    /// Who publishes, and how to reach them; empty if the settings do not say.
    pub(super) contact: String,
    /// The heat that had come by each week; nothing where the workspace has no temperatures.
    pub(super) heat: WeekHeat,
    /// When the visits came in, for an alert; empty for other commands, which need not look.
    pub(super) arrivals: Arrivals,
}

impl Figures {
    /// Rolls the newest version of the store up.
    pub(super) async fn of(workspace: &Workspace) -> Result<Figures, Failure> {
        let snapshot = open_snapshot(workspace).await?;
        Figures::newest(workspace, &snapshot, None).await
    }

    /// The same, and when the visits came in.
    pub(super) async fn with_arrivals(workspace: &Workspace) -> Result<Figures, Failure> {
        let snapshot = open_snapshot(workspace).await?;
        let mut figures = Figures::newest(workspace, &snapshot, None).await?;
        figures.arrivals = Arrivals::of(&snapshot).await?;
        Ok(figures)
    }

    /// Rolls a version of the store up, with what the workspace holds today.
    async fn newest(
        workspace: &Workspace,
        snapshot: &Snapshot,
        elsewhere: Option<&dyn Elsewhere>,
    ) -> Result<Figures, Failure> {
        let region = open_region(workspace)?;
        let catalogue = open_catalogue(workspace)?;
        let weather = workspace.weather();
        let weather = weather.as_deref();
        Figures::at(
            workspace,
            region,
            catalogue,
            weather,
            snapshot,
            elsewhere,
            &[],
        )
        .await
    }

    /// Rolls a version of the store up, with what is given beside it; keeps `also` of the tables that are
    /// dropped otherwise.
    pub(super) async fn at(
        workspace: &Workspace,
        region: Region,
        catalogue: Catalogue,
        weather: Option<&Path>,
        snapshot: &Snapshot,
        elsewhere: Option<&dyn Elsewhere>,
        also: &[&str],
    ) -> Result<Figures, Failure> {
        let received_until = snapshot.received_until().await?;
        let setting = roll_up_setting(workspace, &region, weather)?;
        let rollup = roll_up_keeping(snapshot, elsewhere, &catalogue, &setting, also).await?;
        note_without_threshold(rollup.visits_without_threshold);
        let county_weeks =
            CountyWeek::from_batches(std::slice::from_ref(&rollup.county_week().batch))?;
        let weeks = county_weeks.iter();
        let weeks = weeks.map(|row| (&*row.protocol, &*row.iso_week));
        Ok(Figures {
            heat: WeekHeat::of(&setting.weather, &setting.counties, &catalogue, weeks),
            region,
            catalogue,
            rollup,
            county_weeks,
            received_until,
            contact: contact(workspace),
            arrivals: Arrivals::default(),
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

    /// The rows of the map of a period: with a week, every county of the region.
    fn map_rows(&self, period: Period) -> Result<MapRows<'_>, Failure> {
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
        MapRows::gather(
            &self.region,
            &self.rollup.county_week().rows_of(period)?,
            coverage,
        )
    }

    /// The map of a period with its styles: names and bytes. The MapLibre style draws the newest week
    /// and the protocol that is named, or else the first.
    pub(super) fn map_files(
        &self,
        period: Period,
        protocol: Option<&str>,
    ) -> Result<Vec<OutputFile>, Failure> {
        let rows = self.rows(period);
        let newest = match period {
            Period::Week(week) => Some(week.to_string()),
            _ => rows.iter().map(|row| row.iso_week.clone()).max(),
        };
        let first = self.protocols().first().copied();
        let style = maplibre_style(
            &self.region,
            "county_week.geojson",
            newest.as_deref(),
            protocol.or(first),
        )?;
        Ok(vec![
            (
                "county_week.geojson",
                county_week_geojson(&self.map_rows(period)?)?,
            ),
            ("county_week.qml", qgis_style().into_bytes()),
            ("county_week.style.json", style),
        ])
    }

    /// The county-weeks of a period as CSV.
    pub(super) fn csv(&self, period: Period) -> Result<Vec<u8>, Failure> {
        let table = self.rollup.county_week();
        write_csv(&table.rows_of(period)?, &docs(&table.stage.columns))
    }

    /// Everything of a period that may be published.
    fn public_files(
        &self,
        period: Period,
        dispersion: Option<&DispersionFiles>,
    ) -> Result<Vec<OutputFile>, Failure> {
        let table = self.rollup.county_week();
        let points = self.rollup.sample_point();
        let weeks = self.rollup.region_week();
        let pressure = self.rollup.region_pressure();
        let growth = self.rollup.region_stage();
        let mut files = vec![
            ("county_week.csv", self.csv(period)?),
            ("county_week.parquet", self.parquet(table, period)?),
            (
                "county_week.geo.parquet",
                county_week_geo_parquet(&self.map_rows(period)?, &docs(&table.stage.columns))?,
            ),
            (
                "sample_points.geojson",
                sample_points_geojson(&self.region, &points.rows_of(period)?)?,
            ),
            (
                "region_week.csv",
                write_csv(&weeks.rows_of(period)?, &docs(&weeks.stage.columns))?,
            ),
            ("region_week.parquet", self.parquet(weeks, period)?),
            (
                "region_pressure.csv",
                write_csv(&pressure.rows_of(period)?, &docs(&pressure.stage.columns))?,
            ),
            ("region_pressure.parquet", self.parquet(pressure, period)?),
            (
                "region_stage.csv",
                write_csv(&growth.rows_of(period)?, &docs(&growth.stage.columns))?,
            ),
            ("region_stage.parquet", self.parquet(growth, period)?),
            ("COLUMNS.md", self.columns_page(dispersion).into_bytes()),
        ];
        files.extend(self.map_files(period, None)?);
        if let Some(dispersion) = dispersion {
            files.extend(dispersion.public(self.region.invented())?);
        }
        Ok(files)
    }

    fn columns_page(&self, dispersion: Option<&DispersionFiles>) -> String {
        let county_docs = docs(&self.rollup.county_week().stage.columns);
        let week_docs = docs(&self.rollup.region_week().stage.columns);
        let pressure_docs = docs(&self.rollup.region_pressure().stage.columns);
        let growth_docs = docs(&self.rollup.region_stage().stage.columns);
        let point_docs = docs(&self.rollup.sample_point().stage.columns);
        let mut files = vec![
            DescribedFiles {
                names: "county_week.csv, county_week.parquet",
                about: "One row a county, week and protocol that has visits.",
                docs: &county_docs,
                has_days: false,
                has_status: false,
            },
            DescribedFiles {
                names: "county_week.geojson, county_week.geo.parquet",
                about: "The same with the county's outline. A map of one week holds every county of the region.",
                docs: &county_docs,
                has_days: true,
                has_status: true,
            },
            DescribedFiles {
                names: "region_week.csv, region_week.parquet",
                about: "One row a week and protocol of the whole region: the shown counties taken together, and whether \
                        those that lie beside each other are alike.",
                docs: &week_docs,
                has_days: false,
                has_status: false,
            },
            DescribedFiles {
                names: "region_pressure.csv, region_pressure.parquet",
                about: "One row a week, protocol and class of pressure: how the fields of the shown counties spread.",
                docs: &pressure_docs,
                has_days: false,
                has_status: false,
            },
            DescribedFiles {
                names: "region_stage.csv, region_stage.parquet",
                about: "One row a week, protocol and crop stage: how far the crop of the shown counties has come.",
                docs: &growth_docs,
                has_days: false,
                has_status: false,
            },
            DescribedFiles {
                names: "sample_points.geojson",
                about: "Where was scouted: a point in the middle of each grid cell in which enough fields were visited. \
                        A cell without a point may still have been scouted.",
                docs: &point_docs,
                has_days: true,
                has_status: false,
            },
        ];
        let dispersion_docs = dispersion.map(DispersionFiles::docs);
        files.extend(dispersion_docs.iter().flat_map(described));
        columns_page(&self.region, &files)
    }

    fn parquet(&self, table: &StageTable, period: Period) -> Result<Vec<u8>, Failure> {
        let notice = self.region.invented();
        write_parquet(&table.rows_of(period)?, &docs(&table.stage.columns), notice)
    }

    fn write(
        &self,
        period: Period,
        dispersion: Option<&DispersionFiles>,
        out: &Path,
    ) -> Result<Written, Failure> {
        let rows = self.rows(period);
        let public = self.public_files(period, dispersion)?;
        let mut private = vec![(
            "field_week.parquet",
            self.parquet(self.rollup.field_week(), period)?,
        )];
        if let Some(dispersion) = dispersion {
            private.push(dispersion.private(self.region.invented())?);
        }
        let all = public.iter().chain(&private);
        let all: Vec<(&str, &[u8])> = all.map(|(name, bytes)| (*name, &**bytes)).collect();
        write_folder(out, &all)?;
        let within = |files: &[OutputFile]| files.iter().map(|(name, _)| out.join(name)).collect();
        Ok(Written {
            store_version: self.rollup.store_version,
            county_weeks: rows.len(),
            suppressed: rows.iter().filter(|row| row.suppressed).count(),
            public: within(&public),
            private: within(&private),
        })
    }
}

/// Nothing is left out in silence.
pub(super) fn note_without_threshold(visits: u64) {
    if visits > 0 {
        report::note(&format!(
            "note: {} left out: the protocol gives no threshold without economics, which the record lacks",
            counted(visits, "visit is", "visits are")
        ));
    }
}

/// Rolls up and writes, for commands that do more.
pub(super) async fn roll_up_to(workspace: &Workspace, out: &Path) -> Result<Figures, Failure> {
    let figures = Figures::with_arrivals(workspace).await?;
    figures.write(Period::All, None, out)?;
    Ok(figures)
}

fn contact(workspace: &Workspace) -> String {
    let office = &workspace.settings().office;
    let given = [&office.name, &office.contact].map(|said| plain_text(said));
    let given = given.iter().filter(|said| !said.is_empty());
    given.map(String::as_str).collect::<Vec<_>>().join(", ")
}

/// What the columns of a table mean.
pub(super) fn docs(columns: &[StageColumn]) -> Vec<ColumnDoc<'_>> {
    columns
        .iter()
        .map(|column| ColumnDoc {
            name: &column.name,
            description: &column.description,
            unit: column.unit.as_deref(),
        })
        .collect()
}
