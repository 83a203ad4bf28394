//! The map file of a week.

use bractline::figures::map::geo::county_week_geojson as write_geojson;
use bractline::figures::map::rows::{Coverage, MapRows};
use bractline::figures::map::rules::Named;
use bractline::shared::count_words::CountWords;
use disclosure::public_row::PublicRow;
use jiff::civil::Date;
use scouting::failure::Failure;
use scouting::region::Region;

use crate::support::week_rows::county_week_of;

/// Monday and Sunday of 2026-W30.
pub const WEEK_DAYS: (Date, Date) = (Date::constant(2026, 7, 20), Date::constant(2026, 7, 26));

pub const WEEK: Coverage = Coverage::WholeWeek {
    iso_week: "2026-W30",
    days: WEEK_DAYS,
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
