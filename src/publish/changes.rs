//! What changed between an alert and the one that corrects it, county by county.
//!
//! Compares public rows alone, and only what a reader acts on: the class of the median, the fields
//! visited, and those at threshold.

use std::collections::BTreeMap;

use super::classes::Class;
use super::shown_names::display_names;
use crate::region::Region;
use crate::rollup::county_week::CountyWeek;

/// A county of which something else is said now than before.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CountyChange {
    /// Its name as shown.
    pub county: String,
    /// What is said now, and in brackets what was said.
    pub words: String,
}

/// The counties of which `now` says something else than `before`, by name.
pub fn changes(region: &Region, before: &[CountyWeek], now: &[CountyWeek]) -> Vec<CountyChange> {
    let names = display_names(region);
    let mut counties: BTreeMap<&str, [Option<&CountyWeek>; 2]> = BTreeMap::new();
    for (place, rows) in [before, now].into_iter().enumerate() {
        for row in rows {
            counties.entry(&row.county_id).or_default()[place] = Some(row);
        }
    }
    let mut changes: Vec<CountyChange> = counties
        .into_iter()
        .filter_map(|(county_id, [before, now])| {
            Some(CountyChange {
                county: names.get(county_id)?.clone(),
                words: change_in_words(before, now)?,
            })
        })
        .collect();
    changes.sort_by(|one, other| one.county.cmp(&other.county));
    changes
}

fn change_in_words(before: Option<&CountyWeek>, now: Option<&CountyWeek>) -> Option<String> {
    let said = |row: Option<&CountyWeek>| {
        let class = Class::of(row.map(CountyWeek::cell));
        let figures = row.and_then(CountyWeek::figures);
        let counts = figures.map(|figures| (figures.fields_visited, figures.fields_at_threshold));
        (class, counts)
    };
    let (was, is) = (said(before), said(now));
    if was == is {
        return None;
    }
    let mut parts = Vec::new();
    if was.0 != is.0 {
        parts.push(format!("{} (was: {})", in_words(is.0), in_words(was.0)));
    }
    if let (Some(was), Some(is)) = (was.1, is.1) {
        for (what, was, is) in [
            ("fields visited", was.0, is.0),
            ("at threshold", was.1, is.1),
        ] {
            if was != is {
                parts.push(format!("{what} {is} (was {was})"));
            }
        }
    } else if let Some((visited, at)) = is.1 {
        parts.push(format!("fields visited {visited}, at threshold {at}"));
    }
    Some(parts.join("; "))
}

fn in_words(class: Class) -> String {
    match class {
        Class::Median(1..) => format!("median {}", class.words()),
        other => other.words().to_owned(),
    }
}
