//! County-weeks as GeoJSON (RFC 7946) that any map viewer opens.
//!
//! Copies figures and rounds coordinates; does not project, simplify, or decide what may be seen.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use geojson::{GeometryValue, Position};
use serde::Serialize;
use serde_json::value::RawValue;

use crate::failure::{Failure, Kind};
use crate::publish::cautions;
use crate::publish::outline::{Extent, Polygon, publishable};
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

/// The county-weeks as a GeoJSON `FeatureCollection`, in the order of week, protocol and county,
/// UTF-8. Each feature has the id `county.week.protocol` and every property, null where there is
/// no value. Beside the standard members stand `generator`, `caution`, `boundaries`, where
/// boundaries lack an outline `counties_without_outline`, and, where the region is invented,
/// `invented` with the notice.
///
/// # Errors
/// A [`Failure`] if a row's county is not in the region, its week is none or another than the
/// file's, or two rows are of the same county, week and protocol.
pub fn county_week_geojson(
    region: &Region,
    rows: &[CountyWeek],
    coverage: Coverage,
) -> Result<Vec<u8>, Failure> {
    let entries = gather_entries(region, rows, coverage)?;
    let shapes = gather_shapes(region, &entries)?;
    let features = entries
        .iter()
        .map(|(key, row)| feature(key, *row, &shapes))
        .collect::<Result<Vec<_>, Failure>>()?;
    let drawn = shapes.values().flat_map(|shape| &shape.polygons);
    let without: Vec<_> = region.without_shape().iter().map(|c| &*c.id).collect();
    let collection = Collection {
        kind: "FeatureCollection",
        generator: "bractline",
        caution: cautions::IN_ONE_SENTENCE,
        invented: region.invented(),
        boundaries: Boundaries {
            source: region.source(),
            vintage: region.vintage(),
        },
        counties_without_outline: without,
        bbox: Extent::around(drawn).map(|extent| extent.bbox()),
        features,
    };
    serde_json::to_vec(&collection).map_err(unwritable)
}

/// The word by which a file tells the kinds of county-week apart.
pub fn status(cell: Cell) -> &'static str {
    match cell {
        Cell::Suppressed => "suppressed",
        Cell::OutsideStage => "outside-stage",
        Cell::NoneFound => "none-found",
        Cell::Pressure(_) => "pressure",
    }
}

/// Week, protocol, county: the order of the features, and what makes one of them.
type Key<'a> = (&'a str, &'a str, &'a str);

fn gather_entries<'a>(
    region: &'a Region,
    rows: &'a [CountyWeek],
    coverage: Coverage<'a>,
) -> Result<BTreeMap<Key<'a>, Option<&'a CountyWeek>>, Failure> {
    let mut entries = BTreeMap::new();
    if let Coverage::WholeWeek {
        iso_week,
        protocols,
    } = coverage
    {
        let of_rows = rows.iter().map(|row| &*row.protocol);
        for protocol in protocols
            .iter()
            .copied()
            .chain(of_rows)
            .collect::<BTreeSet<_>>()
        {
            for county in region.counties() {
                entries.insert((iso_week, protocol, &*county.id), None);
            }
        }
    }
    for row in rows {
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
            _ if entries.insert(key, Some(row)).flatten().is_some() => {
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

/// A county's shape, written once and used by each of its features.
struct Shape<'a> {
    name: &'a str,
    polygons: Vec<Polygon>,
    text: Box<RawValue>,
}

fn gather_shapes<'a>(
    region: &'a Region,
    entries: &BTreeMap<Key<'a>, Option<&CountyWeek>>,
) -> Result<HashMap<&'a str, Shape<'a>>, Failure> {
    let wanted: BTreeSet<&str> = entries.keys().map(|key| key.2).collect();
    let counties = region.counties().iter();
    counties
        .filter(|county| wanted.contains(&*county.id))
        .map(|county| {
            let polygons = publishable(county);
            let text = serde_json::value::to_raw_value(&geometry(&polygons)).map_err(unwritable)?;
            let shape = Shape {
                name: &county.name,
                polygons,
                text,
            };
            Ok((&*county.id, shape))
        })
        .collect()
}

/// `None`, in the file `null`, if no polygon is left: RFC 7946 has that for the unlocated, and
/// many readers refuse an empty geometry.
fn geometry(polygons: &[Polygon]) -> Option<geojson::Geometry> {
    let mut polygons: Vec<Vec<Vec<Position>>> = polygons
        .iter()
        .map(|rings| {
            rings
                .iter()
                .map(|ring| ring.iter().map(|&p| p.into()).collect())
                .collect()
        })
        .collect();
    let value = match polygons.len() {
        0 => return None,
        1 => GeometryValue::new_polygon(polygons.remove(0)),
        _ => GeometryValue::new_multi_polygon(polygons),
    };
    Some(geojson::Geometry::new(value))
}

fn feature<'a>(
    &(iso_week, protocol, county_id): &Key<'a>,
    row: Option<&'a CountyWeek>,
    shapes: &'a HashMap<&str, Shape<'a>>,
) -> Result<Feature<'a>, Failure> {
    let (week_start, week_end) = days_of_week(iso_week).ok_or_else(|| {
        Failure::new(Kind::Publish, format!("{iso_week:?} is no ISO 8601 week"))
            .mend("write the week as 2026-W30")
    })?;
    let shape = &shapes[county_id];
    // A week's name starts with its four-digit year, or it would have had no days.
    let season = iso_week[..4].parse().unwrap_or_default();
    Ok(Feature {
        kind: "Feature",
        id: format!("{county_id}.{iso_week}.{protocol}"),
        geometry: &shape.text,
        properties: Properties {
            county_id,
            county_name: shape.name,
            season,
            iso_week,
            week_start: week_start.to_string(),
            week_end: week_end.to_string(),
            protocol,
            status: row.map_or("no-visits", |row| status(row.cell())),
            suppressed: row.is_some_and(|row| row.suppressed),
            fields_visited: row.and_then(|row| row.fields_visited),
            fields_at_threshold: row.and_then(|row| row.fields_at_threshold),
            fields_near_threshold: row.and_then(|row| row.fields_near_threshold),
            share_at_threshold: row.and_then(|row| row.share_at_threshold),
            share_low: row.and_then(|row| row.share_low),
            share_high: row.and_then(|row| row.share_high),
            share_smoothed: row.and_then(|row| row.share_smoothed),
            mean_pressure: row.and_then(|row| row.mean_pressure),
            median_pressure: row.and_then(|row| row.median_pressure),
            p90_pressure: row.and_then(|row| row.p90_pressure),
            max_pressure: row.and_then(|row| row.max_pressure),
            area_share_at_threshold: row.and_then(|row| row.area_share_at_threshold),
            fields_outside_stage: row.and_then(|row| row.fields_outside_stage),
            fields_with_assumed_economics: row.and_then(|row| row.fields_with_assumed_economics),
            window_opens: row.and_then(|row| row.window_opens),
            window_closes: row.and_then(|row| row.window_closes),
        },
    })
}

fn unwritable(error: serde_json::Error) -> Failure {
    Failure::new(Kind::Publish, format!("cannot write the GeoJSON: {error}"))
}

/// What the `geojson` crate's own collection writes, but with the short members first, so that
/// whoever opens the file in an editor meets the caution before a megabyte of coordinates.
#[derive(Serialize)]
struct Collection<'a> {
    #[serde(rename = "type")]
    kind: &'static str,
    generator: &'static str,
    caution: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    invented: Option<&'a str>,
    boundaries: Boundaries<'a>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    counties_without_outline: Vec<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bbox: Option<[f64; 4]>,
    features: Vec<Feature<'a>>,
}

#[derive(Serialize)]
struct Boundaries<'a> {
    source: &'a str,
    vintage: &'a str,
}

#[derive(Serialize)]
struct Feature<'a> {
    #[serde(rename = "type")]
    kind: &'static str,
    id: String,
    properties: Properties<'a>,
    geometry: &'a RawValue,
}

#[derive(Serialize)]
struct Properties<'a> {
    county_id: &'a str,
    county_name: &'a str,
    season: i32,
    iso_week: &'a str,
    week_start: String,
    week_end: String,
    protocol: &'a str,
    status: &'static str,
    suppressed: bool,
    fields_visited: Option<i64>,
    fields_at_threshold: Option<i64>,
    fields_near_threshold: Option<i64>,
    share_at_threshold: Option<f64>,
    share_low: Option<f64>,
    share_high: Option<f64>,
    share_smoothed: Option<f64>,
    mean_pressure: Option<f64>,
    median_pressure: Option<f64>,
    p90_pressure: Option<f64>,
    max_pressure: Option<f64>,
    area_share_at_threshold: Option<f64>,
    fields_outside_stage: Option<i64>,
    fields_with_assumed_economics: Option<i64>,
    window_opens: Option<jiff::civil::Date>,
    window_closes: Option<jiff::civil::Date>,
}
