//! The sites of one stored visit, for questions about one field. Roll-ups read no unit.

use arrow::array::RecordBatch;
use datafusion::error::DataFusionError;
use datafusion::functions_aggregate::expr_fn::{avg, first_value, max};
use datafusion::prelude::{DataFrame, col, lit};
use serde::Deserialize;
use serde::de::DeserializeOwned;

use crate::delta::snapshot::Snapshot;
use crate::rows::decode;
use crate::rows::query_rows::unreadable;
use scouting::failure::Failure;
use scouting::visit::record::Outline;

/// A site of a visit.
#[derive(Debug, Clone, PartialEq)]
pub struct VisitSite {
    /// Its number.
    pub site: u32,
    /// The side of the field, as the scout wrote it.
    pub side: Option<String>,
    /// Longitude and latitude, degrees.
    pub point: Option<(f64, f64)>,
    /// Mean of its units' totals; nights are not taken into account.
    pub mean: f64,
}

/// What is kept of a visit in addition to its figures.
#[derive(Debug, Clone, PartialEq)]
pub struct VisitSites {
    /// The sites, by number.
    pub sites: Vec<VisitSite>,
    /// The outline of the field, if the record has one.
    pub outline: Option<Outline>,
}

impl Snapshot {
    /// The sites of the highest revision of a visit; none if the store has no such visit.
    ///
    /// # Errors
    /// A [`Failure`] if the store cannot be read.
    pub async fn visit_sites(&self, visit_id: &str) -> Result<VisitSites, Failure> {
        let read = self.read_sites(visit_id).await;
        read.map_err(unreadable)
    }

    async fn read_sites(&self, visit_id: &str) -> Result<VisitSites, DataFusionError> {
        let visits = self.visible("visits", visit_id).await?;
        let newest = visits
            .clone()
            .aggregate(vec![], vec![max(col("revision")).alias("revision")])?;
        let newest: Vec<Revision> = rows(&newest.collect().await?)?;
        let revision = newest.first().and_then(|row| row.revision).unwrap_or(0);
        let of_revision = col("revision").eq(lit(revision));
        let outlines = visits
            .filter(of_revision.clone())?
            .select_columns(&["outline"])?
            .collect()
            .await?;
        let units = self.visible("units", visit_id).await?.filter(of_revision)?;
        let first = |name: &str| first_value(col(name), vec![]).alias(name);
        let sites = units
            .aggregate(
                vec![col("site")],
                vec![
                    first("side"),
                    first("site_lon"),
                    first("site_lat"),
                    avg(col("total")).alias("mean"),
                ],
            )?
            .sort(vec![col("site").sort(true, false)])?
            .select_columns(&["site", "side", "site_lon", "site_lat", "mean"])?
            .collect()
            .await?;
        let sites: Vec<SiteRow> = rows(&sites)?;
        // What is kept was written by us from a record that conformed.
        let outlines: Vec<OutlineText> = rows(&outlines)?;
        let outline = outlines.into_iter().next().and_then(|row| row.outline);
        let outline = outline.map(|text| serde_json::from_str(&text));
        Ok(VisitSites {
            sites: sites.into_iter().map(SiteRow::read).collect(),
            outline: outline
                .transpose()
                .map_err(|error| DataFusionError::External(Box::new(error)))?,
        })
    }

    /// The rows of a visit in a table that a receipt makes visible.
    async fn visible(&self, table: &str, visit_id: &str) -> Result<DataFrame, DataFusionError> {
        let receipts = self.session().table("receipts").await?;
        let loads = receipts.select(vec![col("load_id").alias("received_load_id")])?;
        let rows = self.session().table(table).await?;
        rows.filter(col("visit_id").eq(lit(visit_id)))?.join(
            loads.distinct()?,
            datafusion::common::JoinType::LeftSemi,
            &["load_id"],
            &["received_load_id"],
            None,
        )
    }
}

/// A site as the query has it.
#[derive(Deserialize)]
struct SiteRow {
    site: u32,
    side: Option<String>,
    site_lon: Option<f64>,
    site_lat: Option<f64>,
    mean: f64,
}

impl SiteRow {
    fn read(self) -> VisitSite {
        VisitSite {
            site: self.site,
            side: self.side,
            point: self.site_lon.zip(self.site_lat),
            mean: self.mean,
        }
    }
}

#[derive(Deserialize)]
struct Revision {
    revision: Option<i32>,
}

#[derive(Deserialize)]
struct OutlineText {
    outline: Option<String>,
}

/// The rows of all batches.
fn rows<T: DeserializeOwned>(batches: &[RecordBatch]) -> Result<Vec<T>, DataFusionError> {
    let rows = batches.iter().map(|batch| decode::rows::<T>(batch));
    let rows = rows.collect::<Result<Vec<_>, _>>();
    let rows = rows.map_err(|error| DataFusionError::External(Box::new(error)))?;
    Ok(rows.into_iter().flatten().collect())
}
