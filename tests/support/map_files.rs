//! The map file of a week.

use bractline::figures::map::geo::county_week_geojson as write_geojson;
use bractline::figures::map::rows::{Coverage, MapRows};
use disclosure::public_row::PublicRow;
use scouting::failure::Failure;
use scouting::region::Region;

use crate::support::week_rows::county_week_of;

pub const WEEK: Coverage = Coverage::WholeWeek {
    iso_week: "2026-W30",
    protocols: &["bsm-eggs"],
};

pub fn county_week_geojson(
    region: &Region,
    rows: &[PublicRow],
    coverage: Coverage,
) -> Result<Vec<u8>, Failure> {
    write_geojson(&MapRows::gather(
        region,
        &county_week_of(region, rows),
        rows,
        coverage,
    )?)
}
