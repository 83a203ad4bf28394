//! Streams invented visits to stdout as NDJSON, for load benchmarks and for comparisons with other
//! programs; stderr ends with the account that `load` must come to, as JSON.
//!
//!     cargo run --example generate_visits -- 100000 7 > visits.ndjson
//!     cargo run --example generate_visits -- 20000 7 counties.geojson > visits.ndjson
//!     cargo run --example generate_visits -- 1000000 7 --seasons 2017-2026 > visits.ndjson
//!
//! Arguments: how many lines, the seed, and optionally a GeoJSON FeatureCollection of county
//! polygons in which the fields lie (a feature's id, or its property `GEOID` or `county_id`, names
//! the county; default: the fictional region) and the first and last season (default: three of the
//! demo); the lines are shared by the seasons about evenly. About 2% of the records are broken, 1.5% are sent
//! twice and 1% corrected. Memory stays flat.

use std::io::{self, BufWriter, ErrorKind, Write};
use std::process::ExitCode;

use bractline::demo::landscape::ID_PROPERTY;
use bractline::demo::{ExpectedAccount, Landscape, MessShares, SampleLines, SampleOptions};
use geo::MultiPolygon;
use geojson::feature::Id;
use geojson::{Feature, FeatureCollection};

const USAGE: &str = "usage: generate_visits LINES SEED [COUNTIES.geojson] [--seasons FIRST-LAST]";

type CountyShapes = Vec<(String, MultiPolygon<f64>)>;

fn main() -> ExitCode {
    let mut arguments: Vec<String> = std::env::args().skip(1).collect();
    let seasons = match arguments.iter().position(|one| one == "--seasons") {
        None => SampleOptions::default().seasons,
        Some(place) => match arguments
            .drain(place..)
            .nth(1)
            .and_then(|text| years(&text))
        {
            Some(seasons) => seasons,
            None => return stopped(USAGE, 2),
        },
    };
    let (lines, seed, boundaries) = match arguments.as_slice() {
        [lines, seed] => (lines, seed, None),
        [lines, seed, boundaries] => (lines, seed, Some(boundaries)),
        _ => return stopped(USAGE, 2),
    };
    let (Ok(lines), Ok(seed)) = (lines.parse::<usize>(), seed.parse::<u64>()) else {
        return stopped(USAGE, 2);
    };
    let shapes = match boundaries.map(|path| read_shapes(path)) {
        None => Landscape::draw(SampleOptions::default().seed).shapes(),
        Some(Ok(shapes)) => shapes,
        Some(Err(reason)) => return stopped(&reason, 1),
    };
    let options = SampleOptions {
        seed,
        fields: usize::MAX,
        seasons,
        mess: MessShares::benchmark(),
        ..SampleOptions::default()
    };
    let sample = match SampleLines::new(&shapes, &options) {
        Ok(sample) => sample,
        Err(failure) => return stopped(&failure.to_string(), 1),
    };
    match write_lines(sample.take(lines)) {
        Ok(account) => {
            eprintln!(
                "{}",
                serde_json::json!({
                    "received": account.received,
                    "accepted": account.accepted,
                    "duplicate": account.duplicate,
                    "held": account.held_in_all(),
                    "held_by_code": account.held,
                })
            );
            ExitCode::SUCCESS
        }
        // The reader has enough: that is no failure.
        Err(error) if error.kind() == ErrorKind::BrokenPipe => ExitCode::SUCCESS,
        Err(error) => stopped(&format!("cannot write to stdout: {error}"), 1),
    }
}

/// `2017-2026`, both included.
fn years(text: &str) -> Option<Vec<i32>> {
    let (first, last) = text.split_once('-')?;
    let (first, last): (i32, i32) = (first.parse().ok()?, last.parse().ok()?);
    (2000 <= first && first <= last && last < 2100).then(|| (first..=last).collect())
}

fn stopped(reason: &str, code: u8) -> ExitCode {
    eprintln!("{reason}");
    ExitCode::from(code)
}

fn write_lines(
    lines: impl Iterator<Item = bractline::demo::SampleLine>,
) -> io::Result<ExpectedAccount> {
    let mut out = BufWriter::with_capacity(1 << 16, io::stdout().lock());
    let mut account = ExpectedAccount::default();
    for line in lines {
        out.write_all(&line.bytes)?;
        out.write_all(b"\n")?;
        account.add(line.expected);
    }
    out.flush()?;
    Ok(account)
}

fn read_shapes(path: &str) -> Result<CountyShapes, String> {
    let text =
        std::fs::read_to_string(path).map_err(|error| format!("cannot read {path}: {error}"))?;
    let collection: FeatureCollection = text
        .parse::<geojson::GeoJson>()
        .and_then(FeatureCollection::try_from)
        .map_err(|error| format!("{path} is no GeoJSON FeatureCollection: {error}"))?;
    collection
        .features
        .into_iter()
        .enumerate()
        .map(|(place, feature)| {
            county_shape(feature).map_err(|reason| format!("{path}, feature {place}: {reason}"))
        })
        .collect()
}

fn county_shape(feature: Feature) -> Result<(String, MultiPolygon<f64>), String> {
    let named = ["GEOID", ID_PROPERTY]
        .into_iter()
        .find_map(|name| Some(feature.property(name)?.as_str()?.to_owned()));
    let county_id = match (named, &feature.id) {
        (Some(name), _) => name,
        (None, Some(Id::String(name))) => name.clone(),
        (None, Some(Id::Number(number))) => number.to_string(),
        (None, None) => return Err("it has no id".to_owned()),
    };
    let geometry = feature.geometry.ok_or("it has no geometry")?;
    let shape = match geo::Geometry::<f64>::try_from(geometry) {
        Ok(geo::Geometry::Polygon(polygon)) => MultiPolygon::new(vec![polygon]),
        Ok(geo::Geometry::MultiPolygon(polygons)) => polygons,
        _ => return Err("it is neither a Polygon nor a MultiPolygon".to_owned()),
    };
    Ok((county_id, shape))
}
