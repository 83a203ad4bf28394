//! The table `week_clustering`: whether neighboring counties have like pressures in a week.
//!
//! Made of public rows alone: of each county the middle of the class of its median. A county without a class has no
//! part. What the statistic is, and which counties count, is in `stats::space::moran`.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use arrow::array::{Float64Array, Int64Array, RecordBatch, StringArray};

use disclosure::public_row::PublicRow;
use scouting::failure::Failure;
use stats::space::moran::{Weights, morans_i, permutation_test};

use crate::stages::inputs::{Setting, table_of};

/// Random orders of the pressures of a week: the least p-value is 0.001.
const PERMUTATIONS: u32 = 999;
/// The seed of every week's random orders. Any number does; it is fixed, so that the same store gives the
/// same files.
const SEED: u64 = 20_260_721;
/// Each county weighs the same, however many neighbors it has.
const WEIGHTS: Weights = Weights::RowStandardised;

/// Week and protocol: what is looked at by itself.
type Group<'a> = (&'a str, &'a str);

/// One row per week and protocol for which Moran's I says anything (not where all counties touch): `iso_week`, `protocol`, `moran_counties`,
/// `moran_i`, `moran_p`.
pub(crate) fn week_clustering(
    rows: &[PublicRow],
    setting: &Setting,
) -> Result<RecordBatch, Failure> {
    let neighbors = setting.neighbors();
    let (mut weeks, mut protocols) = (vec![], vec![]);
    let (mut counties, mut statistics, mut p_values) = (vec![], vec![], vec![]);
    for ((week, protocol), pressures) in shown_pressures(rows, setting) {
        let found = morans_i(&pressures, &neighbors, WEIGHTS);
        let test = permutation_test(&pressures, &neighbors, WEIGHTS, PERMUTATIONS, SEED);
        if let (Some(found), Some(test)) = (found, test) {
            weeks.push(week);
            protocols.push(protocol);
            counties.push(found.areas as i64);
            statistics.push(found.statistic);
            p_values.push(test.p_value);
        }
    }
    table_of(vec![
        ("iso_week", Arc::new(StringArray::from(weeks))),
        ("protocol", Arc::new(StringArray::from(protocols))),
        ("moran_counties", Arc::new(Int64Array::from(counties))),
        ("moran_i", Arc::new(Float64Array::from(statistics))),
        ("moran_p", Arc::new(Float64Array::from(p_values))),
    ])
}

/// The middle of the class of the median of every county of the region by week and protocol; none where it has no
/// class. A county that the region lacks has no neighbors and is left out.
fn shown_pressures<'a>(
    rows: &'a [PublicRow],
    setting: &Setting,
) -> BTreeMap<Group<'a>, Vec<Option<f64>>> {
    let places = setting.counties.iter().enumerate();
    let place: HashMap<&str, usize> = places
        .map(|(place, county)| (county.id.as_str(), place))
        .collect();
    let mut groups: BTreeMap<Group<'_>, Vec<Option<f64>>> = BTreeMap::new();
    for row in rows {
        let county = row.place.county().and_then(|county| place.get(county));
        let (Some(&county), Some(class)) = (county, row.median) else {
            continue;
        };
        let pressures = groups
            .entry((&row.iso_week, &row.protocol))
            .or_insert_with(|| vec![None; place.len()]);
        pressures[county] = Some(class.middle());
    }
    groups
}
