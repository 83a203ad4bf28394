//! The sites of one stored visit, for questions about one field. Roll-ups read no unit.

use arrow::array::{Array, AsArray, RecordBatch};
use arrow::compute::cast;
use arrow::datatypes::{DataType, Float64Type, Int64Type};
use datafusion::error::DataFusionError;
use datafusion::functions_aggregate::expr_fn::{avg, first_value, max};
use datafusion::prelude::{DataFrame, col, lit};

use super::snapshot::{Snapshot, unreadable};
use crate::failure::Failure;
use crate::visit::record::Outline;

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

/// What is kept of a visit beside its figures.
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
        read.map_err(|error| unreadable(&error))
    }

    async fn read_sites(&self, visit_id: &str) -> Result<VisitSites, DataFusionError> {
        let visits = self.visible("visits", visit_id).await?;
        let newest = visits
            .clone()
            .aggregate(vec![], vec![max(col("revision"))])?;
        let revision = whole_at(&newest.collect().await?).unwrap_or(0);
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
        let sites = sites.iter().map(sites_of).collect::<Result<Vec<_>, _>>()?;
        // What is kept was written by us from a record that conformed.
        let outline = text_at(&outlines)?.map(|text| serde_json::from_str(&text));
        Ok(VisitSites {
            sites: sites.concat(),
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

fn sites_of(batch: &RecordBatch) -> Result<Vec<VisitSite>, DataFusionError> {
    let numbers = cast(&batch["site"], &DataType::Int64)?;
    let sides = cast(&batch["side"], &DataType::Utf8)?;
    let number = |name: &str, row: usize| {
        let column = batch[name].as_primitive::<Float64Type>();
        column.is_valid(row).then(|| column.value(row))
    };
    let site = |row: usize| VisitSite {
        site: u32::try_from(numbers.as_primitive::<Int64Type>().value(row)).unwrap_or(0),
        side: sides
            .is_valid(row)
            .then(|| sides.as_string::<i32>().value(row).to_owned()),
        point: number("site_lon", row).zip(number("site_lat", row)),
        mean: number("mean", row).unwrap_or(0.0),
    };
    Ok((0..batch.num_rows()).map(site).collect())
}

fn whole_at(batches: &[RecordBatch]) -> Option<i64> {
    let batch = batches.iter().find(|batch| batch.num_rows() > 0)?;
    let column = cast(batch.column(0), &DataType::Int64).ok()?;
    let column = column.as_primitive::<Int64Type>();
    column.is_valid(0).then(|| column.value(0))
}

fn text_at(batches: &[RecordBatch]) -> Result<Option<String>, DataFusionError> {
    let Some(batch) = batches.iter().find(|batch| batch.num_rows() > 0) else {
        return Ok(None);
    };
    let column = cast(batch.column(0), &DataType::Utf8)?;
    let text = column
        .is_valid(0)
        .then(|| column.as_string::<i32>().value(0).to_owned());
    Ok(text)
}
