//! The map file of a week.

use bractline::figures::map::geo::county_week_geojson as write_geojson;
use bractline::figures::map::rows::{Coverage, MapRows};
use bractline::figures::map::rules::Named;
use bractline::shared::count_words::CountWords;
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
    let table = county_week_of(region, rows);
    let rows = MapRows::gather(region, &table, rows, coverage)?;
    write_geojson(&rows, &|id| Named {
        title: format!("Counts of {id}"),
        words: CountWords::Threshold,
    })
}
