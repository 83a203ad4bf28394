//! The files of a roll-up: what is public, and the office's figures in full.

use std::path::Path;

use super::cluster::{ClusterAddress, join};
use super::dispersion_files::{DispersionFiles, described};
use super::grid_setting::check_grid_of_store;
use super::rolled_up::{Figures, day_of, docs};
use super::week_setting::note_other_starts;
use super::written::Written;
use crate::figures::disclosure_table::disclosure_csv;
use crate::figures::field_calls::FieldCalls;
use crate::figures::map::columns::{DescribedFiles, columns_page};
use crate::figures::map::geo::sample_points_geojson;
use crate::figures::map::geo_parquet::county_week_geo_parquet;
use crate::shared::files::{OutputFile, borrowed, write_public_and_private};
use crate::shared::tables::write_csv;
use crate::workspace::Workspace;
use crate::workspace::open::{open_snapshot_of, open_store};
use scouting::failure::Failure;
use store::alerts::table::{Until, published_until};
use store::public::public_rows::{CountyOutcome, Publishing, Status, public_rows};
use store::stages::rollup::Period;

/// Which figures are written.
pub(crate) struct WantedFigures<'a> {
    /// Weeks that the files have.
    pub(crate) period: Period,
    /// Whether the dispersion of counts is written as well: of one season, or of all.
    pub(crate) dispersion: Option<Option<i32>>,
    /// The version of the store; the newest if `None`.
    pub(crate) store_version: Option<i64>,
    /// The cluster that rolls up in place of this process.
    pub(crate) cluster: Option<ClusterAddress<'a>>,
}

/// Rolls a version of the store up and writes the folders `public` and `private` of `out`.
///
/// # Errors
/// A [`Failure`] if the store cannot be read or a folder cannot be written.
pub(crate) async fn roll_up_and_write(
    workspace: &Workspace,
    wanted: &WantedFigures<'_>,
    out: &Path,
) -> Result<Written, Failure> {
    check_grid_of_store(workspace).await?;
    let until = Until::version(wanted.store_version);
    let snapshot = open_snapshot_of(workspace, wanted.store_version).await?;
    let cluster = join(wanted.cluster.as_ref(), workspace, &snapshot).await?;
    let elsewhere = cluster.as_deref();
    let nothing = Publishing::Nothing;
    let figures = Figures::rolled_up(workspace, &snapshot, elsewhere, &nothing, until).await?;
    note_other_starts(&figures.setting.weeks);
    let outcomes = outcomes(workspace, &figures, until).await?;
    let dispersion = match wanted.dispersion {
        Some(season) => Some(DispersionFiles::of(&snapshot, &figures, season).await?),
        None => None,
    };
    figures.write(wanted.period, &outcomes, dispersion.as_ref(), out)
}

impl Figures {
    /// What is public of a period.
    fn public_files(&self, period: Period) -> Result<Vec<OutputFile>, Failure> {
        let county = self.public.county_week();
        let elsewhere = self.public.elsewhere_week();
        let points = self.public.sample_point();
        let mut files = vec![
            ("county_week.csv", self.csv(county, period, None)?),
            ("county_week.parquet", self.parquet(county, period)?),
            (
                "county_week.geo.parquet",
                county_week_geo_parquet(
                    &self.map_rows(period, None)?,
                    &docs(&county.stage.columns),
                )?,
            ),
            ("elsewhere_week.csv", self.csv(elsewhere, period, None)?),
            ("elsewhere_week.parquet", self.parquet(elsewhere, period)?),
            (
                "sample_points.geojson",
                sample_points_geojson(&self.region, &points.rows_of(period)?)?,
            ),
        ];
        for (csv, parquet, table) in [
            (
                "district_week.csv",
                "district_week.parquet",
                self.public.district_week(),
            ),
            (
                "region_week.csv",
                "region_week.parquet",
                self.public.region_week(),
            ),
            (
                "region_median.csv",
                "region_median.parquet",
                self.public.region_median(),
            ),
            (
                "region_stage.csv",
                "region_stage.parquet",
                self.public.region_stage(),
            ),
        ] {
            files.push((csv, self.csv(table, period, None)?));
            files.push((parquet, self.parquet(table, period)?));
        }
        files.push(("COLUMNS.md", self.public_columns().into_bytes()));
        files.extend(self.map_files(period, None)?);
        Ok(files)
    }

    /// The office's figures of a period.
    fn private_files(
        &self,
        period: Period,
        outcomes: &[CountyOutcome],
        dispersion: Option<&DispersionFiles>,
    ) -> Result<Vec<OutputFile>, Failure> {
        let full = self.rollup.county_week_full();
        let effort = self.rollup.county_week_effort();
        let fields = self.rollup.field_week();
        let full_docs = docs(&full.stage.columns);
        let mut files = vec![
            (
                "county_week_full.csv",
                write_csv(&full.rows_of(period)?, &full_docs)?,
            ),
            ("county_week_full.parquet", self.parquet(full, period)?),
            (
                "county_week_effort.csv",
                write_csv(&effort.rows_of(period)?, &docs(&effort.stage.columns))?,
            ),
            ("county_week_effort.parquet", self.parquet(effort, period)?),
            ("field_week.parquet", self.parquet(fields, period)?),
            ("disclosure.csv", disclosure_csv(outcomes, period)?),
            ("COLUMNS.md", self.private_columns(dispersion).into_bytes()),
        ];
        if let Some(dispersion) = dispersion {
            files.extend(dispersion.files(self.region.invented())?);
        }
        Ok(files)
    }

    fn public_columns(&self) -> String {
        let described = |table: &'static str, names, about, has_days, has_status| {
            (table, names, about, has_days, has_status)
        };
        let tables = [
            described(
                "county_week",
                "county_week.csv, county_week.parquet",
                "One row per county, week and protocol with a public row. A county without a row was not visited, or its \
                 fields are too few to publish; the two look the same.",
                false,
                false,
            ),
            described(
                "county_week",
                "county_week.geojson, county_week.geo.parquet",
                "The same with the county's outline. A map of one week holds every county of the region. Its last columns are for viewers that take no style \
                 file; county_week.legend.json has the legend.",
                true,
                true,
            ),
            described(
                "elsewhere_week",
                "elsewhere_week.csv, elsewhere_week.parquet",
                "One row per district, or the region, and week: the fields that are in no row of a county, combined.",
                false,
                false,
            ),
            described(
                "district_week",
                "district_week.csv, district_week.parquet",
                "One row per district, week and protocol: the public rows of its counties, and of fields elsewhere in it, combined.",
                false,
                false,
            ),
            described(
                "region_week",
                "region_week.csv, region_week.parquet",
                "One row per week and protocol of the whole region: the public rows combined, and whether neighboring counties are alike.",
                false,
                false,
            ),
            described(
                "region_median",
                "region_median.csv, region_median.parquet",
                "One row per week, protocol and class of the median: the distribution of counties.",
                false,
                false,
            ),
            described(
                "region_stage",
                "region_stage.csv, region_stage.parquet",
                "One row per week, protocol and crop stage: crop stages of the fields of public rows.",
                false,
                false,
            ),
            described(
                "sample_point",
                "sample_points.geojson",
                "Where fields were scouted: a point in the middle of each grid cell in which enough fields of a public row were \
                 visited. A cell without a point may still have been scouted.",
                true,
                false,
            ),
        ];
        let columns: Vec<_> = tables
            .iter()
            .map(|(table, ..)| {
                let table = self.public.table(table);
                table.map_or_else(Vec::new, |table| docs(&table.stage.columns))
            })
            .collect();
        let files: Vec<DescribedFiles> = tables
            .iter()
            .zip(&columns)
            .map(
                |((_, names, about, has_days, has_status), docs)| DescribedFiles {
                    names,
                    about,
                    docs,
                    has_days: *has_days,
                    has_status: *has_status,
                },
            )
            .collect();
        columns_page(&self.region, &files, self.known_protocols())
    }

    fn private_columns(&self, dispersion: Option<&DispersionFiles>) -> String {
        let full_docs = docs(&self.rollup.county_week_full().stage.columns);
        let effort_docs = docs(&self.rollup.county_week_effort().stage.columns);
        let field_docs = docs(&self.rollup.field_week().stage.columns);
        let mut files = vec![
            DescribedFiles {
                names: "county_week_full.csv, county_week_full.parquet",
                about: "PRIVATE: one row per county, week and protocol that has visits, with every figure in full precision. \
                        Single fields can be computed from such figures: they stay in the office.",
                docs: &full_docs,
                has_days: false,
                has_status: false,
            },
            DescribedFiles {
                names: "county_week_effort.csv, county_week_effort.parquet",
                about: "PRIVATE: one row per county, week and protocol that has visits: visits, fields, sites and units, and the \
                        standard error of the mean pressure. Records do not say how long a visit took.",
                docs: &effort_docs,
                has_days: false,
                has_status: false,
            },
            DescribedFiles {
                names: "field_week.parquet",
                about: "PRIVATE: one row per field, week and protocol. It names fields.",
                docs: &field_docs,
                has_days: false,
                has_status: false,
            },
        ];
        let dispersion_docs = dispersion.map(DispersionFiles::docs);
        files.extend(dispersion_docs.iter().flat_map(described));
        columns_page(&self.region, &files, self.known_protocols())
    }

    fn write(
        &self,
        period: Period,
        outcomes: &[CountyOutcome],
        dispersion: Option<&DispersionFiles>,
        out: &Path,
    ) -> Result<Written, Failure> {
        let public = self.public_files(period)?;
        let private = self.private_files(period, outcomes, dispersion)?;
        write_public_and_private(out, &borrowed(&public), &borrowed(&private))?;
        let within = |folder: &str, files: &[OutputFile]| {
            let folder = out.join(folder);
            files.iter().map(|(file, _)| folder.join(file)).collect()
        };
        let of_period = |outcome: &&CountyOutcome| period.holds(&outcome.iso_week, outcome.season);
        let outcomes: Vec<&CountyOutcome> = outcomes.iter().filter(of_period).collect();
        let count = |status| {
            let outcomes = outcomes.iter();
            outcomes
                .filter(|outcome| outcome.status() == status)
                .count()
        };
        Ok(Written {
            store_version: self.rollup.store_version,
            county_weeks: outcomes.len(),
            in_public_rows: count(Status::Public),
            not_public_yet: count(Status::WouldBePublic),
            withheld: count(Status::Withheld),
            fields: FieldCalls::of(&self.rollup.field_week().rows_of(period)?),
            public: within("public", &public),
            private: within("private", &private),
        })
    }
}

/// Rolls up and writes, for commands that do more.
pub(crate) async fn roll_up_to(workspace: &Workspace, out: &Path) -> Result<Figures, Failure> {
    let figures = Figures::of(workspace, &Publishing::Nothing).await?;
    let outcomes = outcomes(workspace, &figures, Until::Now).await?;
    figures.write(Period::All, &outcomes, None, out)?;
    Ok(figures)
}

/// What would become of every county and week if all were published now.
async fn outcomes(
    workspace: &Workspace,
    figures: &Figures,
    until: Until,
) -> Result<Vec<CountyOutcome>, Failure> {
    let published = published_until(&open_store(workspace).await?, until).await?;
    let rows = public_rows(
        &figures.rollup.field_week().batch,
        &figures.catalogue,
        &figures.setting,
        &published,
        &Publishing::All(Period::All),
        day_of(figures.received_until),
    )?;
    Ok(rows.outcomes)
}
