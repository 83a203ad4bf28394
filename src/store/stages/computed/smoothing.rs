//! The table `county_share_smoothed`: each shown county's share at threshold, drawn toward that of all counties shown.
//!
//! Made of public rows alone, so nothing of another county can be taken back out of it. Of a row that gives an interval
//! of counts its middle is taken. What the estimate is is in `stats::space::shrinkage`.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use arrow::array::{Float64Array, RecordBatch, StringArray};

use crate::stages::inputs::{Setting, table_of};
use disclosure::public_row::PublicRow;
use scouting::failure::Failure;
use stats::space::shrinkage::{AreaCount, shrink_within_limits};

/// Week and protocol: what is smoothed by itself.
type Group<'a> = (&'a str, &'a str);

/// One row a shown county-week of a week with another shown county: `county_id`, `iso_week`, `protocol`,
/// `share_smoothed` and `share_own_weight` (0 to 1).
pub(crate) fn county_share_smoothed(
    rows: &[PublicRow],
    setting: &Setting,
) -> Result<RecordBatch, Failure> {
    let (mut counties, mut weeks, mut protocols) = (vec![], vec![], vec![]);
    let (mut shares, mut weights) = (vec![], vec![]);
    for ((week, protocol), counts) in shown_counts(rows, setting) {
        let estimates = shrink_within_limits(&counts);
        for (county, estimate) in setting.counties.iter().zip(estimates) {
            if let Some(estimate) = estimate {
                counties.push(county.id.as_str());
                weeks.push(week);
                protocols.push(protocol);
                shares.push(estimate.share);
                weights.push(estimate.own_weight);
            }
        }
    }
    table_of(vec![
        ("county_id", Arc::new(StringArray::from(counties))),
        ("iso_week", Arc::new(StringArray::from(weeks))),
        ("protocol", Arc::new(StringArray::from(protocols))),
        ("share_smoothed", Arc::new(Float64Array::from(shares))),
        ("share_own_weight", Arc::new(Float64Array::from(weights))),
    ])
}

/// The counts of every county of the region by week and protocol; none where a county is not shown. A county
/// that the region lacks is left out.
fn shown_counts<'a>(
    rows: &'a [PublicRow],
    setting: &Setting,
) -> BTreeMap<Group<'a>, Vec<AreaCount>> {
    let places = setting.counties.iter().enumerate();
    let place: HashMap<&str, usize> = places
        .map(|(place, county)| (county.id.as_str(), place))
        .collect();
    let mut groups: BTreeMap<Group<'_>, Vec<AreaCount>> = BTreeMap::new();
    for row in rows {
        let county = row.place.county().and_then(|county| place.get(county));
        let Some(&county) = county else {
            continue;
        };
        let counts = groups
            .entry((&row.iso_week, &row.protocol))
            .or_insert_with(|| vec![AreaCount::default(); place.len()]);
        let [least, most] = row.at_threshold.map(f64::from);
        counts[county] = AreaCount {
            at_threshold: (least + most) / 2.0,
            visited: u64::from(row.fields_visited),
        };
    }
    groups
}
