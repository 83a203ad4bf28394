//! The files of a season's dispersion, which `bractline rollup --dispersion` writes to its private folder.

use super::rolled_up::{Figures, docs};
use crate::figures::described_table::DescribedTable;
use crate::figures::dispersion_tables::{Dispersion, season_dispersion};
use crate::figures::map::columns::DescribedFiles;
use crate::shared::files::OutputFile;
use crate::shared::tables::{ColumnDoc, write_csv, write_parquet};
use scouting::failure::Failure;
use store::delta::snapshot::Snapshot;

/// A season's dispersion, ready to be written.
pub(crate) struct DispersionFiles {
    tables: Dispersion,
}

impl DispersionFiles {
    /// The dispersion of one season or of all, at the version that `figures` were made from.
    pub(crate) async fn of(
        snapshot: &Snapshot,
        figures: &Figures,
        season: Option<i32>,
    ) -> Result<DispersionFiles, Failure> {
        let tables = season_dispersion(snapshot, &figures.rollup, season).await?;
        Ok(DispersionFiles { tables })
    }

    /// All of them, for the office.
    pub(crate) fn files(&self, invented: Option<&str>) -> Result<Vec<OutputFile>, Failure> {
        let Dispersion {
            county_season: county,
            power_law: law,
            visit,
        } = &self.tables;
        Ok(vec![
            ("county_season_dispersion.csv", csv(county)?),
            (
                "county_season_dispersion.parquet",
                parquet(county, invented)?,
            ),
            ("season_power_law.csv", csv(law)?),
            ("season_power_law.parquet", parquet(law, invented)?),
            ("visit_dispersion.parquet", parquet(visit, invented)?),
        ])
    }

    /// What their columns mean.
    pub(crate) fn docs(&self) -> [Vec<ColumnDoc<'_>>; 3] {
        [
            docs(&self.tables.county_season.columns),
            docs(&self.tables.power_law.columns),
            docs(&self.tables.visit.columns),
        ]
    }
}

/// What the page of columns says of the files.
pub(crate) fn described<'a>(docs: &'a [Vec<ColumnDoc<'a>>; 3]) -> [DescribedFiles<'a>; 3] {
    let [county, law, visit] = docs;
    let files = |names, about, docs| DescribedFiles {
        names,
        about,
        docs,
        has_days: false,
        has_status: false,
    };
    [
        files(
            "county_season_dispersion.csv, county_season_dispersion.parquet",
            "PRIVATE: dispersion of the counts of units, one row per county, season and protocol. It is based on all visits, those of few fields too.",
            county,
        ),
        files(
            "season_power_law.csv, season_power_law.parquet",
            "PRIVATE: how the variance of counts grows with their mean (Taylor's power law, variance = a * mean^b), two rows per season and protocol. It is based on all visits.",
            law,
        ),
        files(
            "visit_dispersion.parquet",
            "PRIVATE: dispersion of the counts within one visit, one row per visit. It names visits.",
            visit,
        ),
    ]
}

fn csv(table: &DescribedTable) -> Result<Vec<u8>, Failure> {
    write_csv(&table.batch, &docs(&table.columns))
}

fn parquet(table: &DescribedTable, invented: Option<&str>) -> Result<Vec<u8>, Failure> {
    write_parquet(&table.batch, &docs(&table.columns), invented)
}
