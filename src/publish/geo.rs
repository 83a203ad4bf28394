//! County-weeks as GeoJSON (RFC 7946) that any map viewer opens.
//!
//! Copies figures and rounds coordinates; does not project, simplify, or decide what may be seen.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use geojson::{GeometryValue, Position};
use serde::Serialize;
use serde_json::value::RawValue;

use crate::failure::{Failure, Kind};
use crate::publish::cautions;
use crate::region::{County, Region};
use crate::rollup::county_week::{Cell, CountyWeek, days_of_week};

/// Decimals of a coordinate: about a metre, finer than the boundaries are true.
const DECIMALS: i32 = 5;
/// Decimals for a county so small that it would vanish at [`DECIMALS`]; RFC 7946, section 11.2,
/// finds six enough for anything.
const DECIMALS_MAX: i32 = 6;

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
            let polygons = [DECIMALS, DECIMALS_MAX]
                .map(|decimals| round_shape(county, decimals))
                .into_iter()
                .find(|polygons| !polygons.is_empty())
                .unwrap_or_default();
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

/// Rings of `[longitude, latitude]` in degrees, closed; the first is the outside.
pub(super) type Polygon = Vec<Vec<[f64; 2]>>;

/// The shape of a county as plain rings.
pub(super) fn rings_of(county: &County) -> impl Iterator<Item = Polygon> + '_ {
    county.shape.0.iter().map(|polygon| {
        let rings = std::iter::once(polygon.exterior()).chain(polygon.interiors());
        rings
            .map(|ring| ring.0.iter().map(|point| [point.x, point.y]).collect())
            .collect()
    })
}

/// Rounds the coordinates and drops what that leaves without an inside: islands and holes smaller
/// than the grid, which would be no valid rings.
fn round_shape(county: &County, decimals: i32) -> Vec<Polygon> {
    rings_of(county)
        .filter_map(|polygon| {
            let mut rings = polygon.iter().map(|ring| round_ring(ring, decimals));
            let outside = rings.next().filter(|ring| signed_area(ring) > 0.0)?;
            let holes = rings.filter(|ring| signed_area(ring) < 0.0);
            Some(std::iter::once(outside).chain(holes).collect())
        })
        .collect()
}

/// A closed ring without repeated positions; empty if fewer than four positions remain.
fn round_ring(ring: &[[f64; 2]], decimals: i32) -> Vec<[f64; 2]> {
    let scale = 10_f64.powi(decimals);
    // Adding zero turns -0 into 0.
    let round = |degrees: f64| (degrees * scale).round() / scale + 0.0;
    let mut rounded: Vec<_> = ring.iter().map(|&[x, y]| [round(x), round(y)]).collect();
    rounded.dedup();
    match rounded.len() {
        0..4 => Vec::new(),
        _ => rounded,
    }
}

/// Twice the area inside a closed ring, positive if it runs counter-clockwise. Taken from the
/// first corner, so that small rings far from zero lose no digits.
fn signed_area(ring: &[[f64; 2]]) -> f64 {
    let Some(&[x0, y0]) = ring.first() else {
        return 0.0;
    };
    let cross = |pair: &[[f64; 2]]| {
        (pair[0][0] - x0) * (pair[1][1] - y0) - (pair[1][0] - x0) * (pair[0][1] - y0)
    };
    ring.windows(2).map(cross).sum()
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

/// The smallest box around polygons on the round earth; `west` > `east` where it crosses the 180th
/// meridian, as RFC 7946, section 5.2, writes it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Extent {
    pub(super) west: f64,
    pub(super) south: f64,
    pub(super) east: f64,
    pub(super) north: f64,
}

impl Extent {
    /// `None` if there is no polygon. A polygon does not cross the 180th meridian: RFC 7946 cuts
    /// it there.
    pub(super) fn around<'a>(polygons: impl Iterator<Item = &'a Polygon>) -> Option<Extent> {
        let mut spans = Vec::new();
        let (mut south, mut north) = (f64::INFINITY, f64::NEG_INFINITY);
        for polygon in polygons {
            let (mut west, mut east) = (f64::INFINITY, f64::NEG_INFINITY);
            for &[x, y] in polygon.iter().flatten() {
                (west, east) = (west.min(x), east.max(x));
                (south, north) = (south.min(y), north.max(y));
            }
            spans.push((west, east));
        }
        spans.sort_by(|one, other| one.0.total_cmp(&other.0));
        let (first, last) = (spans.first()?.0, spans.iter().map(|span| span.1));
        // Around the globe the box leaves out the widest gap between the polygons.
        let furthest = last.fold(f64::NEG_INFINITY, f64::max);
        let mut widest = (first + 360.0 - furthest, first, furthest);
        let mut reached = f64::NEG_INFINITY;
        for &(west, east) in &spans {
            if reached.is_finite() && west - reached > widest.0 {
                widest = (west - reached, west, reached);
            }
            reached = reached.max(east);
        }
        Some(Extent {
            west: widest.1,
            south,
            east: widest.2,
            north,
        })
    }

    fn bbox(self) -> [f64; 4] {
        [self.west, self.south, self.east, self.north]
    }
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
            share_at_threshold: row.and_then(|row| row.share_at_threshold),
            share_low: row.and_then(|row| row.share_low),
            share_high: row.and_then(|row| row.share_high),
            mean_pressure: row.and_then(|row| row.mean_pressure),
            median_pressure: row.and_then(|row| row.median_pressure),
            p90_pressure: row.and_then(|row| row.p90_pressure),
            max_pressure: row.and_then(|row| row.max_pressure),
            area_share_at_threshold: row.and_then(|row| row.area_share_at_threshold),
            fields_outside_stage: row.and_then(|row| row.fields_outside_stage),
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
    share_at_threshold: Option<f64>,
    share_low: Option<f64>,
    share_high: Option<f64>,
    mean_pressure: Option<f64>,
    median_pressure: Option<f64>,
    p90_pressure: Option<f64>,
    max_pressure: Option<f64>,
    area_share_at_threshold: Option<f64>,
    fields_outside_stage: Option<i64>,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(west: f64, east: f64) -> Polygon {
        let (south, north) = (50.0, 52.0);
        vec![vec![
            [west, south],
            [east, south],
            [east, north],
            [west, north],
            [west, south],
        ]]
    }

    fn west_and_east(spans: &[(f64, f64)]) -> (f64, f64) {
        let polygons: Vec<_> = spans
            .iter()
            .map(|&(west, east)| square(west, east))
            .collect();
        let extent = Extent::around(polygons.iter()).expect("polygons");
        (extent.west, extent.east)
    }

    #[test]
    fn the_box_takes_the_short_way_around() {
        assert_eq!(west_and_east(&[(-104.0, -96.0)]), (-104.0, -96.0));
        assert_eq!(
            west_and_east(&[(-104.0, -100.0), (-90.0, -88.0)]),
            (-104.0, -88.0)
        );
        // An island chain on both sides of the 180th meridian.
        assert_eq!(
            west_and_east(&[(-180.0, -163.0), (172.0, 180.0)]),
            (172.0, -163.0)
        );
        assert_eq!(
            west_and_east(&[(177.0, 179.0), (-179.0, -178.0)]),
            (177.0, -178.0)
        );
        // One polygon inside the span of another must not open a gap.
        assert_eq!(
            west_and_east(&[(0.0, 100.0), (10.0, 20.0), (90.0, 150.0)]),
            (0.0, 150.0)
        );
        assert_eq!(Extent::around([].iter()), None);
    }

    #[test]
    fn a_rounded_ring_stays_closed_and_one_without_an_inside_vanishes() {
        let ring = [
            [0.0, 0.0],
            [0.000_004, 0.0],
            [1.0, -0.000_001],
            [1.0, 1.0],
            [0.0, 0.0],
        ];
        let rounded = round_ring(&ring, 5);
        assert_eq!(rounded, [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 0.0]]);
        assert!(
            rounded.iter().flatten().all(|x| x.is_sign_positive()),
            "a -0 is left"
        );
        let speck = [[0.0, 0.0], [1e-6, 0.0], [1e-6, 1e-6], [0.0, 0.0]];
        assert!(round_ring(&speck, 5).is_empty());
        assert_eq!(round_ring(&speck, 6).len(), 4);
        let sliver = [[0.0, 0.0], [1.0, 0.0], [2.0, 1e-6], [0.0, 0.0]];
        assert_eq!(signed_area(&round_ring(&sliver, 5)), 0.0);
    }
}
