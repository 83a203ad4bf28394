//! Which tables a package of a level holds, and how they hang together.

use std::collections::BTreeSet;

use arrow::array::AsArray;

use super::Level;
use super::protocol_table::protocol_table;
pub use super::table::ExportTable;
use super::table::{Places, Reference};
use crate::failure::Failure;
use crate::protocol::catalogue::{Catalogue, Protocol};
use crate::publish::geo_parquet::outlines_of;
use crate::publish::map_rows::{ADDED_COLUMNS, Coverage, MapRows};
use crate::region::Region;
use crate::rollup::dispersion::DescribedTable;
use crate::rollup::grid_rows::GridRows;
use crate::rollup::run::{Period, Rollup, StageTable};
use crate::rollup::stages::StageColumn;
use crate::rollup::take_home::TakeHome;

const TO_PROTOCOL: Reference = Reference {
    columns: &["protocol"],
    table: "protocol",
    there: &["protocol"],
};
const TO_REGION_WEEK: Reference = Reference {
    columns: &["iso_week", "protocol"],
    table: "region_week",
    there: &["iso_week", "protocol"],
};
const TO_COUNTY_WEEK: Reference = Reference {
    columns: &["county_id", "iso_week", "protocol"],
    table: "county_week",
    there: &["county_id", "iso_week", "protocol"],
};
const TO_VISIT: Reference = Reference {
    columns: &["visit_id"],
    table: "visit",
    there: &["visit_id"],
};
const TO_FIELD_WEEK: Reference = Reference {
    columns: &["field_week"],
    table: "field_week",
    there: &["row"],
};

/// The rows of single visits, as a level has them.
pub enum VisitRows {
    /// None.
    None,
    /// Without what leads back to a field.
    Grid(GridRows),
    /// As they are kept.
    Full(TakeHome),
}

impl VisitRows {
    /// The level that has them.
    pub fn level(&self) -> Level {
        match self {
            VisitRows::None => Level::Public,
            VisitRows::Grid(_) => Level::Grid,
            VisitRows::Full(_) => Level::Full,
        }
    }
}

/// The tables of a package, those of the finest grain first.
///
/// # Errors
/// A [`Failure`] if a table of the roll-up is not what it should be.
pub fn tables_of(
    rollup: &Rollup,
    visits: VisitRows,
    region: &Region,
    catalogue: &Catalogue,
    period: Period,
) -> Result<Vec<ExportTable>, Failure> {
    let mut tables = Vec::new();
    match visits {
        VisitRows::None => {}
        VisitRows::Grid(rows) => tables.extend(grid_tables(rows)),
        VisitRows::Full(rows) => tables.extend(full_tables(rows, rollup, period)?),
    }
    tables.extend(public_tables(rollup, region, period)?);
    let ids = protocols_in(&tables)?;
    let protocols: Vec<&Protocol> = ids.iter().filter_map(|id| catalogue.protocol(id)).collect();
    tables.push(protocol_table(&protocols)?);
    Ok(tables)
}

fn protocols_in(tables: &[ExportTable]) -> Result<BTreeSet<String>, Failure> {
    let mut ids = BTreeSet::new();
    for table in tables {
        if let Some(column) = table.batch.column_by_name("protocol") {
            ids.extend(
                column
                    .as_string::<i32>()
                    .iter()
                    .flatten()
                    .map(str::to_owned),
            );
        }
    }
    Ok(ids)
}

fn grid_tables(rows: GridRows) -> [ExportTable; 2] {
    let points = || Places::Points("cell_lon", "cell_lat");
    [
        ExportTable {
            name: "visit",
            title: "Visits, without what leads back to a field",
            about: "One row a visit of a field-week of this package. The place is the middle of a grid cell, or the county \
                    alone; figures have two significant digits.",
            columns: rows.visit.columns,
            batch: rows.visit.batch,
            key: vec!["row"],
            references: vec![TO_FIELD_WEEK, TO_COUNTY_WEEK, TO_PROTOCOL],
            places: points(),
        },
        ExportTable {
            name: "field_week",
            title: "Fields and weeks, without what leads back to a field",
            about: "One row a field, week and protocol: the visit that stands. Rows of one field in several weeks cannot be \
                    told to be of one field.",
            columns: rows.field_week.columns,
            batch: rows.field_week.batch,
            key: vec!["row"],
            references: vec![TO_COUNTY_WEEK, TO_PROTOCOL],
            places: points(),
        },
    ]
}

fn full_tables(
    rows: TakeHome,
    rollup: &Rollup,
    period: Period,
) -> Result<[ExportTable; 3], Failure> {
    let DescribedTable { columns, batch } = rows.unit;
    let weeks = rollup.field_week();
    Ok([
        ExportTable {
            name: "visit",
            title: "Visits (private)",
            about: "One row a visit that counts: of each the highest revision, unless it withdraws the visit.",
            columns: rows.visit.columns,
            batch: rows.visit.batch,
            key: vec!["visit_id"],
            references: vec![TO_PROTOCOL],
            places: Places::Points("lon", "lat"),
        },
        ExportTable {
            name: "unit",
            title: "Units: the raw counts (private)",
            about: "One row a unit (head, plant or trap) of these visits, from which every mean can be computed again.",
            columns,
            batch,
            key: vec!["visit_id", "site", "unit"],
            references: vec![TO_VISIT],
            places: Places::None,
        },
        ExportTable {
            references: vec![TO_VISIT, TO_COUNTY_WEEK, TO_PROTOCOL],
            ..staged(
                weeks,
                "Fields and weeks (private)",
                "One row a field, week and protocol: the visit that stands, how sure its figure is, and when treating would be due.",
                period,
                &["field_id", "iso_week", "protocol"],
            )?
        },
    ])
}

fn public_tables(
    rollup: &Rollup,
    region: &Region,
    period: Period,
) -> Result<[ExportTable; 5], Failure> {
    let county_week = rollup.county_week();
    let rows = county_week.rows_of(period)?;
    let map = MapRows::gather(region, &rows, Coverage::VisitedCounties)?;
    let columns = map_columns(&county_week.stage.columns, &map)?;
    Ok([
        ExportTable {
            name: "county_week",
            title: "Counties and weeks",
            about: "One row a county, week and protocol that has visits. The Parquet file has the county's outline as well.",
            columns,
            batch: map.table().clone(),
            key: vec!["county_id", "iso_week", "protocol"],
            references: vec![TO_REGION_WEEK, TO_PROTOCOL],
            places: Places::Areas(outlines_of(&map)),
        },
        ExportTable {
            references: vec![TO_PROTOCOL],
            ..staged(
                rollup.region_week(),
                "Weeks of the region",
                "One row a week and protocol: the shown counties taken together.",
                period,
                &["iso_week", "protocol"],
            )?
        },
        staged(
            rollup.region_pressure(),
            "Classes of pressure",
            "One row a week, protocol and class of pressure: how the fields of the shown counties spread.",
            period,
            &["iso_week", "protocol", "nothing_found", "pressure_from"],
        )?,
        staged(
            rollup.region_stage(),
            "Crop stages",
            "One row a week, protocol and crop stage: how far the crop of the shown counties has come.",
            period,
            &["iso_week", "protocol", "crop_stage"],
        )?,
        ExportTable {
            places: Places::Points("cell_lon", "cell_lat"),
            ..staged(
                rollup.sample_point(),
                "Where was scouted",
                "One row a week, protocol and grid cell in which enough fields were visited. A cell without a row may still \
                 have been scouted.",
                period,
                &["cell", "iso_week", "protocol"],
            )?
        },
    ])
}

/// The columns of a map in its own order: those of the stage, and what the map adds.
fn map_columns(staged: &[StageColumn], map: &MapRows) -> Result<Vec<StageColumn>, Failure> {
    let schema = map.table().schema();
    let columns = schema.fields().iter().map(|field| {
        let name = field.name();
        let of_stage = staged.iter().find(|column| column.name == *name);
        let added = ADDED_COLUMNS.iter().find(|doc| doc.name == name);
        match (of_stage, added) {
            (Some(column), _) => Ok(column.clone()),
            (None, Some(doc)) => Ok(StageColumn {
                name: name.clone(),
                data_type: field.data_type().clone(),
                nullable: field.is_nullable(),
                unit: None,
                description: doc.description.to_owned(),
            }),
            (None, None) => Err(super::unmade(&format!("nobody says what {name} is"))),
        }
    });
    columns.collect()
}

/// A table as its stage made it; it points to the week of the region.
fn staged(
    table: &StageTable,
    title: &'static str,
    about: &'static str,
    period: Period,
    key: &'static [&'static str],
) -> Result<ExportTable, Failure> {
    let name = [
        "field_week",
        "region_week",
        "region_pressure",
        "region_stage",
        "sample_point",
    ];
    let name = name.into_iter().find(|name| *name == table.stage.table);
    Ok(ExportTable {
        name: name.ok_or_else(|| {
            super::unmade(&format!("no package has a table {}", table.stage.table))
        })?,
        title,
        about,
        columns: table.stage.columns.clone(),
        batch: table.rows_of(period)?,
        key: key.to_vec(),
        references: vec![TO_REGION_WEEK],
        places: Places::None,
    })
}
