//! The rows of the map files: the public county-weeks, each with the days of its week and a status.
//!
//! GeoJSON and GeoParquet hold the same of these. Takes the columns as the roll-up has them and
//! computes no figure; what may be seen was decided there.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use arrow::array::{ArrayRef, BooleanArray, Date32Array, Int32Array, RecordBatch, StringArray};
use arrow::array::{AsArray, UInt32Array};
use arrow::compute::take;
use arrow::datatypes::{DataType, Field, Schema};
use jiff::civil::Date;

use crate::failure::{Failure, Kind};
use crate::publish::outline::{Polygon, decimals_of, publishable};
use crate::publish::tables::ColumnDoc;
use crate::region::{County, Region};
use crate::rollup::county_week::{Cell, CountyWeek, days_of_week};

/// Which counties a file holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Coverage<'a> {
    /// The rows alone, of any number of weeks.
    VisitedCounties,
    /// One week, with every county of the region under each of these protocols and each that the
    /// rows have; a county without a row is there with the status `no-visits`.
    WholeWeek {
        /// ISO 8601 week, as `2026-W30`; every row is of this week.
        iso_week: &'a str,
        /// Ids of protocols that are there even without a row.
        protocols: &'a [&'a str],
    },
}

/// The columns that a map has beside those of the roll-up's table.
pub const ADDED_COLUMNS: [ColumnDoc; 3] = [
    ColumnDoc {
        name: "start",
        description: "Monday of the week",
        unit: None,
    },
    ColumnDoc {
        name: "end",
        description: "Sunday of the week, the last day that counts",
        unit: None,
    },
    ColumnDoc {
        name: "status",
        description: "what kind of row it is: pressure, none-found, suppressed, outside-stage or no-visits",
        unit: None,
    },
];

/// The rows of a map in the order of week, protocol and county, and the outlines of their counties.
#[derive(Debug)]
pub struct MapRows<'a> {
    pub(super) region: &'a Region,
    pub(super) table: RecordBatch,
    pub(super) outlines: BTreeMap<&'a str, Vec<Polygon>>,
}

/// Week, protocol, county: the order of the rows, and what makes one of them.
type Key<'a> = (&'a str, &'a str, &'a str);

impl<'a> MapRows<'a> {
    /// Gathers the rows from the table `county_week`.
    ///
    /// # Errors
    /// A [`Failure`] if a row contradicts itself, its county is not in the region, its week is none
    /// or another than the file's, or two rows are of the same county, week and protocol.
    pub fn gather(
        region: &'a Region,
        county_week: &RecordBatch,
        coverage: Coverage,
    ) -> Result<MapRows<'a>, Failure> {
        let rows = CountyWeek::from_batches(std::slice::from_ref(county_week))?;
        let entries = gather_entries(region, &rows, coverage)?;
        let wanted: BTreeSet<&str> = entries.keys().map(|key| key.2).collect();
        let counties = region.counties().iter();
        let decimals = decimals_of(region);
        let outlines = counties
            .filter(|county| wanted.contains(&*county.id))
            .map(|county| (&*county.id, publishable(county, decimals)))
            .collect();
        Ok(MapRows {
            region,
            table: table_of(region, county_week, &rows, &entries)?,
            outlines,
        })
    }

    /// The rows: the columns of `county_week`, and [`ADDED_COLUMNS`].
    pub fn table(&self) -> &RecordBatch {
        &self.table
    }

    /// A column of text; empty if there is none of the name.
    pub(super) fn text(&self, column: &str, row: usize) -> &str {
        let column = self.table.column_by_name(column);
        column
            .and_then(|column| column.as_string_opt::<i32>())
            .map_or("", |texts| texts.value(row))
    }

    /// The outline of the county of a row.
    pub(super) fn outline(&self, row: usize) -> &[Polygon] {
        let outline = self.outlines.get(self.text("county_id", row));
        outline.map_or(&[], Vec::as_slice)
    }
}

/// The word by which a file tells the kinds of county-week apart; `None` is a county without visits.
pub fn status(cell: Option<Cell>) -> &'static str {
    match cell {
        None => "no-visits",
        Some(Cell::Suppressed) => "suppressed",
        Some(Cell::OutsideStage) => "outside-stage",
        Some(Cell::NoneFound) => "none-found",
        Some(Cell::Pressure(_)) => "pressure",
    }
}

/// The place of each row in the table; `None` for a county without one.
fn gather_entries<'a>(
    region: &'a Region,
    rows: &'a [CountyWeek],
    coverage: Coverage<'a>,
) -> Result<BTreeMap<Key<'a>, Option<u32>>, Failure> {
    let mut entries = BTreeMap::new();
    if let Coverage::WholeWeek {
        iso_week,
        protocols,
    } = coverage
    {
        let of_rows = rows.iter().map(|row| &*row.protocol);
        let named = protocols.iter().copied().chain(of_rows);
        for protocol in named.collect::<BTreeSet<_>>() {
            for county in region.counties() {
                entries.insert((iso_week, protocol, &*county.id), None);
            }
        }
    }
    for (place, row) in (0..).zip(rows) {
        let key = (&*row.iso_week, &*row.protocol, &*row.county_id);
        let broken = |what: &str| {
            let place = format!("county {}, {}, {}", key.2, key.0, key.1);
            Err(Failure::new(Kind::Publish, what).at(place))
        };
        match coverage {
            Coverage::WholeWeek { iso_week, .. } if iso_week != row.iso_week => {
                return broken("a row is of another week than the file");
            }
            _ if find_county(region, &row.county_id).is_none() => {
                return broken("the county of a row is not in the region");
            }
            _ if entries.insert(key, Some(place)).flatten().is_some() => {
                return broken("two rows are of the same county, week and protocol");
            }
            _ => {}
        }
    }
    Ok(entries)
}

fn find_county<'a>(region: &'a Region, id: &str) -> Option<&'a County> {
    let counties = region.counties();
    let found = counties.binary_search_by(|county| county.id.as_str().cmp(id));
    found.ok().map(|place| &counties[place])
}

/// The columns of the table, taken in the order of the entries; what names a row is filled in where
/// there was none, every figure of it is null.
fn table_of(
    region: &Region,
    county_week: &RecordBatch,
    rows: &[CountyWeek],
    entries: &BTreeMap<Key, Option<u32>>,
) -> Result<RecordBatch, Failure> {
    let places: UInt32Array = entries.values().copied().collect();
    let text = |of: &dyn Fn(&Key) -> String| -> ArrayRef {
        Arc::new(StringArray::from_iter_values(entries.keys().map(of)))
    };
    let days = entries
        .keys()
        .map(|key| week_days(key.0))
        .collect::<Result<Vec<_>, Failure>>()?;
    let day = |of: fn(&(Date, Date)) -> Date| -> ArrayRef {
        let days = days.iter().map(|days| days_since_1970(of(days)));
        Arc::new(days.collect::<Date32Array>())
    };
    let found = |place: &Option<u32>| place.map(|place| &rows[place as usize]);
    let mut columns: Vec<(&str, ArrayRef)> = Vec::new();
    let schema = county_week.schema();
    for (field, column) in schema.fields().iter().zip(county_week.columns()) {
        let name = field.name().as_str();
        let column = match name {
            "county_id" => text(&|key| key.2.to_owned()),
            "county_name" => text(&|key| {
                find_county(region, key.2).map_or_else(String::new, |county| county.name.clone())
            }),
            "iso_week" => text(&|key| key.0.to_owned()),
            "protocol" => text(&|key| key.1.to_owned()),
            // A week's name starts with its four-digit year, or it would have had no days.
            "season" => Arc::new(Int32Array::from_iter_values(
                entries.keys().map(|key| key.0[..4].parse().unwrap_or(0)),
            )),
            "suppressed" => {
                Arc::new(BooleanArray::from_iter(entries.values().map(|place| {
                    Some(found(place).is_some_and(|row| row.suppressed))
                })))
            }
            _ => take(column, &places, None).map_err(unusable)?,
        };
        columns.push((name, column));
        match name {
            "iso_week" => {
                columns.push(("start", day(|days| days.0)));
                columns.push(("end", day(|days| days.1)));
            }
            "protocol" => {
                let statuses = entries
                    .values()
                    .map(|place| status(found(place).map(CountyWeek::cell)));
                let statuses = StringArray::from_iter_values(statuses);
                columns.push(("status", Arc::new(statuses)));
            }
            _ => {}
        }
    }
    let never_null = ["county_id", "county_name", "season", "iso_week", "protocol"];
    let fields = columns.iter().map(|(name, column)| {
        let identity = never_null.contains(name) || *name == "suppressed";
        let added = ADDED_COLUMNS.iter().any(|doc| doc.name == *name);
        Field::new(*name, column.data_type().clone(), !identity && !added)
    });
    let schema = Schema::new(fields.collect::<Vec<_>>());
    let columns = columns.iter().map(|(_, column)| Arc::clone(column));
    RecordBatch::try_new(Arc::new(schema), columns.collect()).map_err(unusable)
}

fn week_days(iso_week: &str) -> Result<(Date, Date), Failure> {
    days_of_week(iso_week).ok_or_else(|| {
        Failure::new(Kind::Publish, format!("{iso_week:?} is no ISO 8601 week"))
            .mend("write the week as 2026-W30")
    })
}

fn days_since_1970(day: Date) -> Option<i32> {
    let span = day.since(Date::constant(1970, 1, 1)).ok()?;
    Some(span.get_days())
}

/// The rows of a table with the days of their week beside it, for tables of other places.
///
/// # Errors
/// A [`Failure`] if the table has no column `iso_week` of text, or a week is none.
pub(super) fn with_days(table: &RecordBatch) -> Result<RecordBatch, Failure> {
    let weeks = table
        .column_by_name("iso_week")
        .and_then(|column| column.as_string_opt::<i32>())
        .ok_or_else(|| Failure::new(Kind::Publish, "a table for a map has no iso_week"))?;
    let days = weeks
        .iter()
        .map(|week| week_days(week.unwrap_or_default()))
        .collect::<Result<Vec<_>, Failure>>()?;
    let mut fields: Vec<Field> = Vec::new();
    let mut columns = Vec::new();
    for (field, column) in table.schema().fields().iter().zip(table.columns()) {
        fields.push(field.as_ref().clone());
        columns.push(Arc::clone(column));
        if field.name() == "iso_week" {
            let starts = days.iter().map(|days| days_since_1970(days.0));
            let ends = days.iter().map(|days| days_since_1970(days.1));
            for (name, days) in [
                ("start", starts.collect::<Date32Array>()),
                ("end", ends.collect()),
            ] {
                fields.push(Field::new(name, DataType::Date32, false));
                columns.push(Arc::new(days) as ArrayRef);
            }
        }
    }
    RecordBatch::try_new(Arc::new(Schema::new(fields)), columns).map_err(unusable)
}

fn unusable(error: arrow::error::ArrowError) -> Failure {
    Failure::new(
        Kind::Publish,
        format!("cannot gather the rows of a map: {error}"),
    )
}
