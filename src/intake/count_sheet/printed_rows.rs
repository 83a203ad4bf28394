//! Rows of units that a count sheet was made with: those of a visit that are gone.
//!
//! A row is deleted by one key, and then nobody can say whether the head was examined. What was not examined has a blank row.

use std::collections::{BTreeMap, BTreeSet};

use crate::count_sheet::site_counts::CountTab;
use crate::sheet::table::Row;
use scouting::protocol::sheet_layout::CountColumn;
use scouting::visit::code::Code;
use scouting::visit::finding::Finding;

/// The units of a visit that have a row, by site.
type Rows = BTreeMap<u64, BTreeSet<u64>>;

/// The rows of a tab Counts, and how many there were.
pub(super) struct PrintedRows {
    of_visits: BTreeMap<u64, Rows>,
    /// Sites of a visit and units of a site, where the sheet says so.
    made_with: Option<(u64, u64)>,
    /// Whether somebody deleted every row that nobody filled, at every site alike.
    blank_ones_deleted: bool,
}

impl PrintedRows {
    pub(super) fn of(tab: &CountTab<'_>, made_with: Option<(u64, u64)>) -> PrintedRows {
        let mut of_visits: BTreeMap<u64, Rows> = BTreeMap::new();
        let mut has_blank = false;
        for row in tab.tab.rows() {
            if let Some((visit, site, unit)) = numbers(tab, row) {
                let sites = of_visits.entry(visit).or_default();
                sites.entry(site).or_default().insert(unit);
                has_blank |= !tab.has_counts(row);
            }
        }
        let blank_ones_deleted =
            !has_blank && made_with.is_some_and(|(sites, _)| are_alike(&of_visits, sites));
        PrintedRows {
            of_visits,
            made_with,
            blank_ones_deleted,
        }
    }

    /// A finding where rows of a visit are gone.
    pub(super) fn missing(
        &self,
        tab: &CountTab<'_>,
        visit: u64,
        units: &[&Row],
    ) -> Option<Finding> {
        let rows = self.of_visits.get(&visit)?;
        let unit_name = tab.unit_name().to_lowercase();
        let missing: Vec<String> = match self.made_with {
            Some(_) if self.blank_ones_deleted => Vec::new(),
            Some((sites, units)) => (1..=sites)
                .flat_map(|site| missing_of_site(rows.get(&site), (site, units), &unit_name))
                .collect(),
            // An earlier version does not say how many there were.
            None => rows
                .iter()
                .flat_map(|(site, present)| {
                    let last = present.last().copied().unwrap_or(0);
                    missing_of_site(Some(present), (*site, last), &unit_name)
                })
                .collect(),
        };
        if missing.is_empty() {
            return None;
        }
        let (first, last) = (units.first()?.number, units.last()?.number);
        let made_with = self.made_with.map_or_else(String::new, |(sites, units)| {
            format!("the sheet was made with {units} {unit_name}s at each of {sites} sites: ")
        });
        Some(Finding::new(
            Code::UnitRowMissing,
            "/sites",
            format!(
                "{}, rows {first} to {last}: visit {visit} has no row for {}",
                tab.tab.name(),
                missing.join(", ")
            ),
            format!(
                "{made_with}put the row back under the numbers of its visit, site and {unit_name}, with its counts, or blank \
                 if it was not examined"
            ),
        ))
    }
}

fn missing_of_site(
    present: Option<&BTreeSet<u64>>,
    (site, units): (u64, u64),
    unit_name: &str,
) -> Vec<String> {
    let Some(present) = present else {
        return vec![format!("site {site}")];
    };
    let missing = (1..=units).filter(|unit| !present.contains(unit));
    missing
        .map(|unit| format!("{unit_name} {unit} of site {site}"))
        .collect()
}

/// Whether every visit has rows of every site, and of each the same first units.
fn are_alike(of_visits: &BTreeMap<u64, Rows>, sites: u64) -> bool {
    let mut of_sites = of_visits.values().flat_map(BTreeMap::values);
    let Some(first) = of_sites.next() else {
        return false;
    };
    let has_all = |rows: &Rows| (1..=sites).all(|site| rows.contains_key(&site));
    let has_no_gap = (1..).zip(first).all(|(number, unit)| number == *unit);
    sites > 1
        && has_no_gap
        && of_visits.values().all(has_all)
        && of_visits
            .values()
            .flat_map(BTreeMap::values)
            .all(|units| units == first)
}

/// The numbers of a row's visit, site and unit, if it has all three.
fn numbers<'a>(tab: &CountTab<'a>, row: &'a Row) -> Option<(u64, u64, u64)> {
    let number = |column| tab.cell(row, column).ordinal();
    Some((
        number(CountColumn::Visit)?,
        number(CountColumn::Site)?,
        number(tab.unit_column())?,
    ))
}
