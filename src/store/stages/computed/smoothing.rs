//! The table `county_share_smoothed`: each shown county's share at threshold, drawn toward its neighbors.
//!
//! Made of public rows alone, so nothing of another county can be taken back out of it. Of a row that gives an interval
//! of counts its middle is taken. What the estimate is is in `stats::space::shrinkage`.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use arrow::array::{Float64Array, RecordBatch, StringArray};

use crate::stages::inputs::{Setting, table_of};
use disclosure::public_row::PublicRow;
use scouting::failure::Failure;
use stats::space::shrinkage::{AreaCount, Form, shrink_to_neighbours};

/// Week and protocol: what is smoothed by itself.
type Group<'a> = (&'a str, &'a str);

/// One row a shown county-week with a neighbor that is shown: `county_id`, `iso_week`, `protocol`,
/// `share_smoothed` (0 to 1).
pub(crate) fn county_share_smoothed(
    rows: &[PublicRow],
    setting: &Setting,
) -> Result<RecordBatch, Failure> {
    let neighbors = setting.neighbors();
    let (mut counties, mut weeks, mut protocols, mut shares) = (vec![], vec![], vec![], vec![]);
    for ((week, protocol), counts) in shown_counts(rows, setting) {
        let estimates = shrink_to_neighbours(&counts, &neighbors, Form::Binomial);
        for (county, share) in setting.counties.iter().zip(estimates) {
            if let Some(share) = share {
                counties.push(county.id.as_str());
                weeks.push(week);
                protocols.push(protocol);
                shares.push(share);
            }
        }
    }
    table_of(vec![
        ("county_id", Arc::new(StringArray::from(counties))),
        ("iso_week", Arc::new(StringArray::from(weeks))),
        ("protocol", Arc::new(StringArray::from(protocols))),
        ("share_smoothed", Arc::new(Float64Array::from(shares))),
    ])
}

/// The counts of every county of the region by week and protocol; none where a county is not shown. A county
/// that the region lacks has no neighbors and is left to its own share.
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
