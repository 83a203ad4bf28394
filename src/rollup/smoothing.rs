//! The table `county_share_smoothed`: each shown county's share at threshold, drawn toward its neighbours.
//!
//! Made of the rows of `county_week_shown` alone: a suppressed county lends nothing to its neighbours, so
//! nothing of it can be taken back out of their figures. What the estimate is stands in
//! `crate::statistics::shrinkage`.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use arrow::array::{Array, AsArray, Float64Array, RecordBatch, StringArray};
use arrow::datatypes::Int64Type;

use crate::failure::Failure;
use crate::statistics::shrinkage::{AreaCount, Form, shrink_to_neighbours};

use super::inputs::{Setting, table_of};

/// Week and protocol: what is smoothed by itself.
type Group<'a> = (&'a str, &'a str);

/// One row a shown county-week with a neighbour that is shown: `county_id`, `iso_week`, `protocol`,
/// `share_smoothed` (0 to 1).
pub(super) fn county_share_smoothed(
    county_week_shown: &RecordBatch,
    setting: &Setting,
) -> Result<RecordBatch, Failure> {
    let place: HashMap<&str, usize> = setting
        .counties
        .iter()
        .enumerate()
        .map(|(place, county)| (county.id.as_str(), place))
        .collect();
    let neighbours: Vec<Vec<usize>> = setting
        .counties
        .iter()
        .map(|county| county.neighbours.clone())
        .collect();
    let (mut counties, mut weeks, mut protocols, mut shares) = (vec![], vec![], vec![], vec![]);
    for ((week, protocol), counts) in shown_counts(county_week_shown, &place) {
        let estimates = shrink_to_neighbours(&counts, &neighbours, Form::Binomial);
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
/// that the region lacks has no neighbours and is left to its own share.
fn shown_counts<'a>(
    rows: &'a RecordBatch,
    place: &HashMap<&str, usize>,
) -> BTreeMap<Group<'a>, Vec<AreaCount>> {
    let text = |name: &str| rows[name].as_string::<i32>();
    let (counties, weeks, protocols) = (text("county_id"), text("iso_week"), text("protocol"));
    let visited = rows["fields_visited"].as_primitive::<Int64Type>();
    let at_threshold = rows["fields_at_threshold"].as_primitive::<Int64Type>();
    let mut groups: BTreeMap<Group<'_>, Vec<AreaCount>> = BTreeMap::new();
    for row in (0..rows.num_rows()).filter(|row| visited.is_valid(*row)) {
        let Some(&county) = place.get(counties.value(row)) else {
            continue;
        };
        let counts = groups
            .entry((weeks.value(row), protocols.value(row)))
            .or_insert_with(|| vec![AreaCount::default(); place.len()]);
        counts[county] = AreaCount {
            at_threshold: at_threshold.value(row).unsigned_abs(),
            visited: visited.value(row).unsigned_abs(),
        };
    }
    groups
}
