//! The rows of the map files: the public rows of counties, each with the days of its week and a status.
//!
//! GeoJSON and GeoParquet hold the same of these. Takes the columns as the roll-up has them and computes no figure;
//! what may be seen was decided there.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use arrow::array::{Array, UInt32Array};
use arrow::array::{ArrayRef, AsArray, Date32Array, Int32Array, RecordBatch, StringArray};
use arrow::compute::{cast, take};
use arrow::datatypes::{DataType, Date32Type, Field, Schema};
use jiff::civil::Date;

use super::viewer_style::ShownRow;
use crate::shared::classes::Class;
use crate::shared::outline::{Polygon, decimals_of, publishable};
use crate::shared::tables::ColumnDoc;
use disclosure::public_row::PublicRow;
use scouting::failure::{Failure, Kind};
use scouting::region::{County, Region};

/// Which counties a file holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Coverage<'a> {
    /// The counties that have a row, of any number of weeks.
    VisitedCounties,
    /// One week, with every county of the region under each of these protocols and each that the rows have; a county
    /// without a row has the status `no-figures` and no figure.
    WholeWeek {
        /// ISO 8601 week, as `2026-W30`; every row is of this week.
        iso_week: &'a str,
        /// First and last day of the week.
        days: (Date, Date),
        /// Ids of protocols that are there even without a row.
        protocols: &'a [&'a str],
    },
}

/// The columns that a map has besides those of the table `county_week`.
pub(crate) const ADDED_COLUMNS: [ColumnDoc; 3] = [
    ColumnDoc {
        name: "start",
        description: "first day of the week",
        unit: None,
    },
    ColumnDoc {
        name: "end",
        description: "last day of the week, and the last that counts",
        unit: None,
    },
    ColumnDoc {
        name: "status",
        description: "reporting status: median (its class is known), nothing-found, some-at-threshold or \
                      none-at-threshold (too few fields for a class), other-stage (every field at another crop stage) \
                      or no-figures (not visited, or too few fields to publish)",
        unit: None,
    },
];

/// The columns of a table that a map has under other names: `start` and `end`.
pub(crate) const DAYS_OF_TABLE: [&str; 2] = ["week_start", "week_end"];

/// The rows of a map in the order of week, protocol and county, and the outlines of their counties.
#[derive(Debug)]
pub struct MapRows<'a> {
    pub(crate) region: &'a Region,
    pub(crate) table: RecordBatch,
    pub(crate) outlines: BTreeMap<&'a str, Vec<Polygon>>,
    /// The classes of the legend.
    pub(crate) classes: Vec<Class>,
    pub(crate) protocols: Vec<String>,
    /// What a map shows of each row.
    pub(crate) shown: Vec<ShownRow>,
}

/// Week, protocol, county: the order of the rows, and what makes one of them.
type Key<'a> = (&'a str, &'a str, &'a str);

/// What a key has: its place in the table and its public row. `None` for a county without a row.
type Found<'a> = Option<(u32, &'a PublicRow)>;

impl<'a> MapRows<'a> {
    /// Gathers the rows from the table `county_week` and the public rows that it was made of. `rows` may hold more than
    /// the table has, such as other weeks.
    ///
    /// # Errors
    /// A [`Failure`] if a row of the table is no public row, its county is not in the region, its week is none or
    /// another than the file's, or two rows are of the same county, week and protocol; and if the table lacks a public
    /// row of a county and week that the file holds.
    pub fn gather(
        region: &'a Region,
        county_week: &RecordBatch,
        rows: &[PublicRow],
        coverage: Coverage,
    ) -> Result<MapRows<'a>, Failure> {
        let keys = Keys::of(county_week)?;
        let entries = gather_entries(region, &keys, rows, coverage)?;
        let wanted: BTreeSet<&str> = entries.keys().map(|key| key.2).collect();
        let protocols: BTreeSet<&str> = entries.keys().map(|key| key.1).collect();
        let counties = region.counties().iter();
        let decimals = decimals_of(region);
        let outlines = counties
            .filter(|county| wanted.contains(&*county.id))
            .map(|county| (&*county.id, publishable(county, decimals)))
            .collect();
        Ok(MapRows {
            region,
            table: table_of(region, county_week, &entries, coverage)?,
            outlines,
            shown: entries
                .values()
                .map(|found| ShownRow::of(found.map(|(_, row)| row)))
                .collect(),
            classes: Class::legend_of(entries.values().flatten().map(|(_, row)| *row)),
            protocols: protocols.into_iter().map(str::to_owned).collect(),
        })
    }

    /// The rows: the columns of `county_week`, and [`ADDED_COLUMNS`].
    pub fn table(&self) -> &RecordBatch {
        &self.table
    }

    /// A column of text; empty if there is none of the name.
    pub(crate) fn text(&self, column: &str, row: usize) -> &str {
        let column = self.table.column_by_name(column);
        column
            .and_then(|column| column.as_string_opt::<i32>())
            .map_or("", |texts| texts.value(row))
    }

    /// The outline of the county of a row.
    pub(crate) fn outline(&self, row: usize) -> &[Polygon] {
        let outline = self.outlines.get(self.text("county_id", row));
        outline.map_or(&[], Vec::as_slice)
    }
}

/// The columns that name a row of the table.
struct Keys {
    iso_week: StringArray,
    protocol: StringArray,
    county_id: StringArray,
}

impl Keys {
    fn of(table: &RecordBatch) -> Result<Keys, Failure> {
        let text = |name: &str| -> Result<StringArray, Failure> {
            let broken = |why: &str| {
                Failure::new(
                    Kind::Publish,
                    format!("column {name} of county_week: {why}"),
                )
            };
            let column = table
                .column_by_name(name)
                .ok_or_else(|| broken("it is missing"))?;
            let column = cast(column, &DataType::Utf8)
                .map_err(|error| broken(&error.to_string()).caused_by(error))?;
            match column.null_count() {
                0 => Ok(column.as_string().clone()),
                _ => Err(broken("a row has no value")),
            }
        };
        Ok(Keys {
            iso_week: text("iso_week")?,
            protocol: text("protocol")?,
            county_id: text("county_id")?,
        })
    }

    fn all(&self) -> impl Iterator<Item = Key<'_>> {
        (0..self.iso_week.len()).map(|row| {
            (
                self.iso_week.value(row),
                self.protocol.value(row),
                self.county_id.value(row),
            )
        })
    }
}

/// The rows of the file by their keys.
fn gather_entries<'a>(
    region: &'a Region,
    keys: &'a Keys,
    rows: &'a [PublicRow],
    coverage: Coverage<'a>,
) -> Result<BTreeMap<Key<'a>, Found<'a>>, Failure> {
    let mut entries = BTreeMap::new();
    if let Coverage::WholeWeek {
        iso_week,
        protocols,
        ..
    } = coverage
    {
        let of_rows = keys.all().map(|key| key.1);
        let named = protocols.iter().copied().chain(of_rows);
        for protocol in named.collect::<BTreeSet<_>>() {
            for county in region.counties() {
                entries.insert((iso_week, protocol, &*county.id), None);
            }
        }
    }
    let public: BTreeMap<Key, &PublicRow> = rows
        .iter()
        .filter_map(|row| {
            let county = row.place.county()?;
            Some(((&*row.iso_week, &*row.protocol, county), row))
        })
        .collect();
    let broken = |key: &Key, what: &str| {
        let place = format!("county {}, {}, {}", key.2, key.0, key.1);
        Err(Failure::new(Kind::Publish, what).at(place))
    };
    for (place, key) in (0..).zip(keys.all()) {
        let row = public.get(&key);
        match (coverage, row) {
            (Coverage::WholeWeek { iso_week, .. }, _) if iso_week != key.0 => {
                return broken(&key, "a row is from another week than the file");
            }
            _ if find_county(region, key.2).is_none() => {
                return broken(&key, "the county of a row is not in the region");
            }
            (_, None) => return broken(&key, "a row of the table is no public row"),
            (_, Some(row)) => {
                if entries.insert(key, Some((place, *row))).flatten().is_some() {
                    return broken(&key, "two rows are of the same county, week and protocol");
                }
            }
        }
    }
    // A county with a public row must not be said to have none.
    let lost = entries
        .iter()
        .find(|(key, found)| found.is_none() && public.contains_key(*key));
    match lost {
        Some((key, _)) => broken(key, "the table lacks a public row"),
        None => Ok(entries),
    }
}

fn find_county<'a>(region: &'a Region, id: &str) -> Option<&'a County> {
    let counties = region.counties();
    let found = counties.binary_search_by(|county| county.id.as_str().cmp(id));
    found.ok().map(|place| &counties[place])
}

/// The columns of the table, taken in the order of the entries; what names a row is filled in where there was none,
/// every figure of it is null.
fn table_of(
    region: &Region,
    county_week: &RecordBatch,
    entries: &BTreeMap<Key, Found>,
    coverage: Coverage,
) -> Result<RecordBatch, Failure> {
    let places: UInt32Array = entries
        .values()
        .map(|found| found.map(|(place, _)| place))
        .collect();
    let text = |of: &dyn Fn(&Key) -> String| -> ArrayRef {
        Arc::new(StringArray::from_iter_values(entries.keys().map(of)))
    };
    // A county without a row has the days of the file's week.
    let day = |name: &str, of: fn((Date, Date)) -> Date| -> Result<ArrayRef, Failure> {
        let days = day_column(county_week, name)?;
        let of_file = match coverage {
            Coverage::WholeWeek { days, .. } => days_since_1970(of(days)),
            Coverage::VisitedCounties => None,
        };
        let found = entries.values().map(|found| match found {
            Some((place, _)) => Some(days.value(*place as usize)),
            None => of_file,
        });
        Ok(Arc::new(found.collect::<Date32Array>()))
    };
    let mut columns: Vec<(&str, ArrayRef)> = Vec::new();
    let schema = county_week.schema();
    for (field, column) in schema.fields().iter().zip(county_week.columns()) {
        let name = field.name().as_str();
        let column = match name {
            _ if DAYS_OF_TABLE.contains(&name) => continue,
            "county_id" => text(&|key| key.2.to_owned()),
            "county_name" => text(&|key| {
                find_county(region, key.2).map_or_else(String::new, |county| county.name.clone())
            }),
            "iso_week" => text(&|key| key.0.to_owned()),
            "protocol" => text(&|key| key.1.to_owned()),
            // A week's name starts with its four-digit year.
            "season" => Arc::new(Int32Array::from_iter_values(entries.keys().map(|key| {
                key.0
                    .get(..4)
                    .and_then(|year| year.parse().ok())
                    .unwrap_or(0)
            }))),
            _ => take(column, &places, None).map_err(unusable)?,
        };
        columns.push((name, column));
        match name {
            "iso_week" => {
                columns.push(("start", day("week_start", |days| days.0)?));
                columns.push(("end", day("week_end", |days| days.1)?));
            }
            "protocol" => {
                let statuses = entries.values().map(|found| {
                    let row = found.map(|(_, row)| row);
                    Class::of(row).status()
                });
                let statuses = StringArray::from_iter_values(statuses);
                columns.push(("status", Arc::new(statuses)));
            }
            _ => {}
        }
    }
    let never_null = ["county_id", "county_name", "season", "iso_week", "protocol"];
    let fields = columns.iter().map(|(name, column)| {
        let identity = never_null.contains(name);
        let added = ADDED_COLUMNS.iter().any(|doc| doc.name == *name);
        Field::new(*name, column.data_type().clone(), !identity && !added)
    });
    let schema = Schema::new(fields.collect::<Vec<_>>());
    let columns = columns.iter().map(|(_, column)| Arc::clone(column));
    RecordBatch::try_new(Arc::new(schema), columns.collect()).map_err(unusable)
}

/// A column of days of a table.
fn day_column<'a>(table: &'a RecordBatch, name: &str) -> Result<&'a Date32Array, Failure> {
    let column = table.column_by_name(name);
    column
        .and_then(|column| column.as_primitive_opt::<Date32Type>())
        .ok_or_else(|| Failure::new(Kind::Publish, format!("a table for a map has no {name}")))
}

fn days_since_1970(day: Date) -> Option<i32> {
    let span = day.since(Date::constant(1970, 1, 1)).ok()?;
    Some(span.get_days())
}

/// The rows of a table for a map of other places: `week_start` and `week_end` are `start` and `end` there.
///
/// # Errors
/// A [`Failure`] if the table lacks one of them.
pub(crate) fn with_days(table: &RecordBatch) -> Result<RecordBatch, Failure> {
    for name in DAYS_OF_TABLE {
        day_column(table, name)?;
    }
    let schema = table.schema();
    let fields = schema.fields().iter().map(|field| {
        let name = field.name().strip_prefix("week_").unwrap_or(field.name());
        field.as_ref().clone().with_name(name)
    });
    let fields: Vec<Field> = fields.collect();
    RecordBatch::try_new(Arc::new(Schema::new(fields)), table.columns().to_vec()).map_err(unusable)
}

fn unusable(error: arrow::error::ArrowError) -> Failure {
    Failure::because(Kind::Publish, "cannot gather the rows of a map", error)
}
