//! The counties of one week under one protocol, sorted by what can be said of them. Counts counties and adds
//! up fields that are shown side by side; computes no statistic.

use std::collections::{HashMap, HashSet};

use super::shown_names::{display_name, display_names};
use crate::region::Region;
use crate::rollup::county_week::{Cell, CountyWeek, Figures};

/// The counties of one week under one protocol, sorted by what can be said of them.
pub struct Summary<'a> {
    /// Counties with figures, by id.
    pub shown: Vec<Shown<'a>>,
    /// How many have too few fields to show.
    pub suppressed: usize,
    /// How many have only fields outside the stage window.
    pub outside_stage: usize,
    /// Names of the counties without a visit, by id.
    pub without_visits: Vec<String>,
    names: HashMap<&'a str, String>,
}

/// A county with figures.
#[derive(Debug, Clone)]
pub struct Shown<'a> {
    /// Identity of the county.
    pub county_id: &'a str,
    /// Its name as shown.
    pub name: String,
    /// Its figures.
    pub figures: Figures,
}

impl<'a> Summary<'a> {
    /// Sorts the rows of one week under one protocol, of counties of the region.
    pub fn of(region: &'a Region, rows: &'a [CountyWeek]) -> Summary<'a> {
        let names = display_names(region);
        let visited: HashSet<&str> = rows.iter().map(|row| &*row.county_id).collect();
        let mut shown: Vec<_> = rows
            .iter()
            .filter_map(|row| {
                Some(Shown {
                    county_id: &row.county_id,
                    name: names.get(&*row.county_id)?.clone(),
                    figures: row.figures()?,
                })
            })
            .collect();
        shown.sort_by_key(|county| county.county_id);
        let count = |cell| rows.iter().filter(|row| row.cell() == cell).count();
        let counties = region.counties().iter();
        Summary {
            shown,
            suppressed: count(Cell::Suppressed),
            outside_stage: count(Cell::OutsideStage),
            without_visits: counties
                .filter(|county| !visited.contains(&*county.id))
                .map(|county| names[&*county.id].clone())
                .collect(),
            names,
        }
    }

    /// The name of a county as shown; its id if the region does not have it.
    pub fn name(&self, county_id: &str) -> String {
        let name = self.names.get(county_id).cloned();
        name.unwrap_or_else(|| display_name(county_id))
    }

    pub(super) fn at_threshold(&self) -> usize {
        let counties = self.shown.iter();
        counties
            .filter(|c| c.figures.fields_at_threshold > 0)
            .count()
    }

    pub(super) fn fields(&self, of: fn(&Figures) -> i64) -> usize {
        let sum: i64 = self.shown.iter().map(|county| of(&county.figures)).sum();
        usize::try_from(sum).unwrap_or_default()
    }

    /// The county with the highest median, of several the one with the highest field; `None` if
    /// nothing was found anywhere.
    pub(super) fn highest(&self) -> Option<&Shown<'a>> {
        let found = self.shown.iter().filter(|c| c.figures.max_pressure > 0.0);
        let rank = |county: &Shown| (county.figures.median_pressure, county.figures.max_pressure);
        found.reduce(|best, next| if rank(next) > rank(best) { next } else { best })
    }

    /// The county whose figures rest on the fewest fields.
    pub(super) fn least_visited(&self) -> Option<&Shown<'a>> {
        self.shown
            .iter()
            .min_by_key(|county| county.figures.fields_visited)
    }
}
