//! Which tables a package of a level holds, and how they hang together.

use std::collections::BTreeSet;

use arrow::array::AsArray;

use super::facts::Level;
use super::package_file::unmade;
use super::protocol_table::protocol_table;
pub(crate) use super::table::ExportTable;
use super::table::{Places, Reference};
use crate::export::grid_rows::GridRows;
use crate::export::take_home::TakeHome;
use crate::export::weather_tables::WeatherTables;
use crate::figures::described_table::DescribedTable;
use crate::figures::map::geo_parquet::outlines_of;
use crate::figures::map::rows::{ADDED_COLUMNS, Coverage, MapRows};
use scouting::failure::Failure;
use scouting::protocol::catalogue::{Catalogue, Protocol};
use scouting::region::Region;
use store::public::public_tables::PublicTables;
use store::stages::files::StageColumn;
use store::stages::rollup::{Period, Rollup, StageTable};

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
const TO_COUNTY_WEEK_FULL: Reference = Reference {
    columns: &["county_id", "iso_week", "protocol"],
    table: "county_week_full",
    there: &["county_id", "iso_week", "protocol"],
};
const TO_WEATHER_DAY: Reference = Reference {
    columns: &["station", "day"],
    table: "weather_day",
    there: &["station", "day"],
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
pub(crate) enum VisitRows {
    /// None.
    None,
    /// Without what leads back to a field.
    Grid(GridRows),
    /// As they are kept.
    Full(TakeHome),
}

impl VisitRows {
    /// The level that has them.
    pub(crate) fn level(&self) -> Level {
        match self {
            VisitRows::None => Level::Public,
            VisitRows::Grid(_) => Level::Grid,
            VisitRows::Full(_) => Level::Full,
        }
    }
}

/// The tables of a package, those of the finest grain first. `rollup` is read for the level full alone; the tables of
/// counties and of the region are the public ones at every level.
///
/// # Errors
/// A [`Failure`] if a table is not what it should be.
pub(crate) fn tables_of(
    rollup: &Rollup,
    public: &PublicTables,
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
    tables.extend(public_tables(public, region, period)?);
    let ids = protocols_in(&tables)?;
    let protocols: Vec<&Protocol> = ids.iter().filter_map(|id| catalogue.protocol(id)).collect();
    tables.push(protocol_table(&protocols)?);
    Ok(tables)
}

/// The tables of the weather, where there is some.
pub(crate) fn tables_of_weather(weather: WeatherTables) -> Vec<ExportTable> {
    let tables = weather.0.into_iter().map(|(name, table)| {
        let (title, about, key, references) = match name {
            "weather_station" => (
                "Stations of the counties",
                "One row per county of the region that has a station, visited or not.",
                vec!["county_id"],
                Vec::new(),
            ),
            "weather_day" => (
                "Temperatures",
                "One row per station and day. Days that the file lacks, and that were not filled in, are not here.",
                vec!["station", "day"],
                Vec::new(),
            ),
            _ => (
                "Degree-days",
                "One row per station, protocol and day: the heat that a protocol's crop model counts, as for the treatment windows.",
                vec!["station", "protocol", "day"],
                vec![TO_WEATHER_DAY, TO_PROTOCOL],
            ),
        };
        ExportTable {
            name,
            title,
            about,
            columns: table.columns,
            batch: table.batch,
            key,
            references,
            places: Places::None,
        }
    });
    tables.collect()
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
            title: "De-identified visits (private)",
            about: "One row per visit of a field-week of this package. The place is the middle of a grid cell, or the county \
                    alone; figures have two significant digits.",
            columns: rows.visit.columns,
            batch: rows.visit.batch,
            key: vec!["row"],
            references: vec![TO_FIELD_WEEK, TO_PROTOCOL],
            places: points(),
        },
        ExportTable {
            name: "field_week",
            title: "De-identified fields and weeks (private)",
            about: "One row per field, week and protocol: the reference visit, the one used for that field-week. Nothing says which rows of several weeks are of \
                    one field.",
            columns: rows.field_week.columns,
            batch: rows.field_week.batch,
            key: vec!["row"],
            references: vec![TO_PROTOCOL],
            places: points(),
        },
    ]
}

fn full_tables(
    rows: TakeHome,
    rollup: &Rollup,
    period: Period,
) -> Result<[ExportTable; 5], Failure> {
    let DescribedTable { columns, batch } = rows.unit;
    let weeks = rollup.field_week();
    Ok([
        ExportTable {
            name: "visit",
            title: "Visits (private)",
            about: "One row per visit that counts: of each the highest revision, unless it withdraws the visit.",
            columns: rows.visit.columns,
            batch: rows.visit.batch,
            key: vec!["visit_id"],
            references: vec![TO_PROTOCOL],
            places: Places::Points("lon", "lat"),
        },
        ExportTable {
            name: "unit",
            title: "Units: the raw counts (private)",
            about: "One row per unit (head, plant or trap) of these visits, from which every mean can be computed again.",
            columns,
            batch,
            key: vec!["visit_id", "site", "unit"],
            references: vec![TO_VISIT],
            places: Places::None,
        },
        ExportTable {
            references: vec![TO_VISIT, TO_COUNTY_WEEK_FULL, TO_PROTOCOL],
            ..staged(
                weeks,
                "Fields and weeks (private)",
                "One row per field, week and protocol: the reference visit, the uncertainty of its figure, and the treatment window.",
                period,
                &["field_id", "iso_week", "protocol"],
            )?
        },
        ExportTable {
            references: vec![TO_PROTOCOL],
            ..staged(
                rollup.county_week_full(),
                "Counties and weeks in full (private)",
                "One row per county, week and protocol that has visits, however few its fields, with every figure in full precision.",
                period,
                COUNTY_KEY,
            )?
        },
        ExportTable {
            references: vec![TO_COUNTY_WEEK_FULL, TO_PROTOCOL],
            ..staged(
                rollup.county_week_effort(),
                "Effort by county and week (private)",
                "One row per county, week and protocol that has visits: visits, fields, sites and units, and the standard error of \
                 the mean pressure. Records do not say how long a visit took.",
                period,
                COUNTY_KEY,
            )?
        },
    ])
}

/// What identifies a row of a county.
const COUNTY_KEY: &[&str] = &["county_id", "iso_week", "protocol"];

fn public_tables(
    public: &PublicTables,
    region: &Region,
    period: Period,
) -> Result<[ExportTable; 7], Failure> {
    let county_week = public.county_week();
    let rows = county_week.rows_of(period)?;
    let map = MapRows::gather(region, &rows, public.rows(), Coverage::VisitedCounties)?;
    let columns = map_columns(&county_week.stage.columns, &map)?;
    Ok([
        ExportTable {
            name: "county_week",
            title: "Counties and weeks",
            about: "One row per county, week and protocol with a public row. A county without a row was not visited, or its \
                    fields are too few to publish; the two look the same. The Parquet file has the county's \
                    outline as well.",
            columns,
            batch: map.table().clone(),
            key: COUNTY_KEY.to_vec(),
            references: vec![TO_REGION_WEEK, TO_PROTOCOL],
            places: Places::Areas(outlines_of(&map)),
        },
        ExportTable {
            references: vec![TO_REGION_WEEK, TO_PROTOCOL],
            ..staged(
                public.elsewhere_week(),
                "Elsewhere in a district or the region",
                "One row per district, or the region, week and protocol: fields that are in no row of a county, combined.",
                period,
                &["place", "iso_week", "protocol"],
            )?
        },
        ExportTable {
            references: vec![TO_REGION_WEEK, TO_PROTOCOL],
            ..staged(
                public.district_week(),
                "Weeks of districts",
                "One row per district, week and protocol: the rows of its counties, and of fields elsewhere in it, combined.",
                period,
                &["district", "iso_week", "protocol"],
            )?
        },
        ExportTable {
            references: vec![TO_PROTOCOL],
            ..staged(
                public.region_week(),
                "Weeks of the region",
                "One row per week and protocol: the rows of counties and elsewhere combined.",
                period,
                &["iso_week", "protocol"],
            )?
        },
        staged(
            public.region_median(),
            "Classes of the median",
            "One row per week, protocol and class of the median: the distribution of counties.",
            period,
            &["iso_week", "protocol", "median_class"],
        )?,
        staged(
            public.region_stage(),
            "Crop stages",
            "One row per week, protocol and crop stage or range of stages: crop stages of the fields of public rows.",
            period,
            &["iso_week", "protocol", "crop_stage", "in_window"],
        )?,
        ExportTable {
            places: Places::Points("cell_lon", "cell_lat"),
            ..staged(
                public.sample_point(),
                "Where fields were scouted",
                "One row per week, protocol and grid cell in which enough fields of a public row were visited. A cell without a \
                 row may still have been scouted.",
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
            (None, None) => Err(unmade(format!("{name} has no description"))),
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
        "county_week_full",
        "county_week_effort",
        "elsewhere_week",
        "district_week",
        "region_week",
        "region_median",
        "region_stage",
        "sample_point",
    ];
    let name = name.into_iter().find(|name| *name == table.stage.table);
    Ok(ExportTable {
        name: name
            .ok_or_else(|| unmade(format!("no package has a table {}", table.stage.table)))?,
        title,
        about,
        columns: table.stage.columns.clone(),
        batch: table.rows_of(period)?,
        key: key.to_vec(),
        references: vec![TO_REGION_WEEK],
        places: Places::None,
    })
}
