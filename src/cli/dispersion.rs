//! The files of a season's scatter, which `bractline rollup --dispersion` writes beside its own.

use super::rollup::{Figures, OutputFile, docs};
use crate::failure::Failure;
use crate::publish::map_columns::DescribedFiles;
use crate::publish::tables::{ColumnDoc, write_csv, write_parquet};
use crate::rollup::dispersion::{DescribedTable, Dispersion, SmallestGroup, season_dispersion};
use crate::store::snapshot::Snapshot;
use crate::workspace::Workspace;

/// A season's scatter, ready to be written.
pub(super) struct DispersionFiles {
    tables: Dispersion,
}

impl DispersionFiles {
    /// The scatter of one season or of all, at the version that `figures` were made from.
    pub(super) async fn of(
        workspace: &Workspace,
        snapshot: &Snapshot,
        figures: &Figures,
        season: Option<i32>,
    ) -> Result<DispersionFiles, Failure> {
        let disclosure = &workspace.settings().disclosure;
        let smallest = SmallestGroup {
            fields: disclosure.min_fields,
            farms: disclosure.min_farms,
        };
        let tables = season_dispersion(snapshot, &figures.rollup, smallest, season).await?;
        Ok(DispersionFiles { tables })
    }

    /// Those that may be published.
    pub(super) fn public(&self, invented: Option<&str>) -> Result<Vec<OutputFile>, Failure> {
        let (county, law) = (&self.tables.county_season, &self.tables.power_law);
        Ok(vec![
            ("county_season_dispersion.csv", csv(county)?),
            (
                "county_season_dispersion.parquet",
                parquet(county, invented)?,
            ),
            ("season_power_law.csv", csv(law)?),
            ("season_power_law.parquet", parquet(law, invented)?),
        ])
    }

    /// The one that names visits.
    pub(super) fn private(&self, invented: Option<&str>) -> Result<OutputFile, Failure> {
        let bytes = parquet(&self.tables.visit, invented)?;
        Ok(("visit_dispersion.parquet", bytes))
    }

    /// What their columns mean.
    pub(super) fn docs(&self) -> [Vec<ColumnDoc<'_>>; 2] {
        [
            docs(&self.tables.county_season.columns),
            docs(&self.tables.power_law.columns),
        ]
    }
}

/// What the page of columns says of the public files.
pub(super) fn described<'a>([county, law]: &'a [Vec<ColumnDoc<'a>>; 2]) -> [DescribedFiles<'a>; 2] {
    [
        DescribedFiles {
            names: "county_season_dispersion.csv, county_season_dispersion.parquet",
            about: "How the counts of units scatter: one row a county, season and protocol. It rests on county-weeks that are shown alone.",
            docs: county,
            has_days: false,
            has_status: false,
        },
        DescribedFiles {
            names: "season_power_law.csv, season_power_law.parquet",
            about: "How the variance of counts grows with their mean (Taylor's power law, variance = a * mean^b): two rows a season and protocol. \
                    It rests on county-weeks that are shown alone.",
            docs: law,
            has_days: false,
            has_status: false,
        },
    ]
}

fn csv(table: &DescribedTable) -> Result<Vec<u8>, Failure> {
    write_csv(&table.batch, &docs(&table.columns))
}

fn parquet(table: &DescribedTable, invented: Option<&str>) -> Result<Vec<u8>, Failure> {
    write_parquet(&table.batch, &docs(&table.columns), invented)
}
