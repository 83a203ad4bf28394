//! Which place a row may show: the cell of the grid, the county, or none.
//!
//! Rows are released in groups of the same county, ISO week, protocol and side of the stage window; of each group
//! those of one cell, or the rest of the county, must be a group of fields that a public row could be made of: enough
//! fields, of enough farms, none of which has most of them (`disclosure::cell`). Fields whose cell has too few
//! are looked at in the wider cells of the grid, up to 40 km. Where the rest is too small, the smallest cell joins it,
//! until it is large enough: so the fields of a county-week that is shown are all there, each among enough others, and
//! nothing is left to be subtracted. Of a county-week that is too small no row is given, nor how many there are. Fields
//! outside the stage window of a county that is shown may be too few for a group of their own: those are held back.

use std::collections::{BTreeMap, BTreeSet};

use disclosure::cell::judge;
use disclosure::field::Id;
use disclosure::rule::Rule;
use scouting::region::point_grid::{GridCell, GridWidth, cell_of};

/// A field in a week, as it is looked at here. Private.
#[derive(Debug, Clone, Copy)]
pub(super) struct FieldWeek<'a> {
    pub(super) field_id: &'a str,
    pub(super) farm_id: Option<&'a str>,
    pub(super) county_id: &'a str,
    pub(super) iso_week: &'a str,
    pub(super) protocol: &'a str,
    pub(super) season: i32,
    pub(super) in_window: bool,
    /// Longitude and latitude; `None` where only the county of the field is known.
    pub(super) point: Option<(f64, f64)>,
    pub(super) field_mean: f64,
    pub(super) standard_error: Option<f64>,
    pub(super) pressure: f64,
}

/// A cell of the grid of published points, with its width.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct CellOfWidth {
    pub(super) cell: GridCell,
    pub(super) width: GridWidth,
}

/// A field-week that is released, with its cell; without one its county alone is given.
pub(super) type Placed<'a> = (FieldWeek<'a>, Option<CellOfWidth>);

/// Which groups of fields may be given.
pub(super) struct Smallest {
    /// The rule of public rows.
    pub(super) rule: Rule,
    /// The seasons in which a visit names a farm.
    pub(super) seasons_with_farms: BTreeSet<i32>,
    /// Width of the cells that are tried first.
    pub(super) narrowest: GridWidth,
}

impl Smallest {
    /// Whether these fields, all of one season, could be a public row.
    fn is_enough(&self, group: &[FieldWeek]) -> bool {
        let season = group.first().map(|week| week.season);
        let farms_known = season.is_some_and(|season| self.seasons_with_farms.contains(&season));
        let farms = group.iter().map(|week| week.farm_id.and_then(Id::of_farm));
        judge(farms, farms_known, &self.rule).is_ok()
    }
}

/// The field-weeks that may be released, and how many of those outside the window are held back in county-weeks
/// that are shown: a county-week is shown if a public row could be made of it.
pub(super) fn placed<'a>(weeks: &[FieldWeek<'a>], smallest: &Smallest) -> (Vec<Placed<'a>>, usize) {
    // Of each county-week the fields outside the window, and those within it.
    let mut counties: BTreeMap<[&str; 3], [Vec<FieldWeek>; 2]> = BTreeMap::new();
    for week in weeks {
        let county = [week.county_id, week.iso_week, week.protocol];
        counties.entry(county).or_default()[usize::from(week.in_window)].push(*week);
    }
    let mut placed = Vec::new();
    let mut held_back = 0;
    for [outside, within] in counties.values() {
        if !within.is_empty() && !smallest.is_enough(within) {
            continue;
        }
        placed.extend(told_by_place(within, smallest));
        match smallest.is_enough(outside) {
            true => placed.extend(told_by_place(outside, smallest)),
            false if within.is_empty() => {}
            false => held_back += outside.len(),
        }
    }
    (placed, held_back)
}

fn told_by_place<'a>(group: &[FieldWeek<'a>], smallest: &Smallest) -> Vec<Placed<'a>> {
    let mut rest = group.to_vec();
    let mut large = Vec::new();
    for width in smallest.narrowest.and_wider() {
        let mut cells: BTreeMap<String, (CellOfWidth, Vec<FieldWeek>)> = BTreeMap::new();
        let (with_point, without): (Vec<_>, Vec<_>) = rest
            .into_iter()
            .map(|week: FieldWeek| (week, week.point))
            .partition(|(_, point)| point.is_some());
        for (week, (lon, lat)) in with_point
            .into_iter()
            .filter_map(|(week, point)| Some((week, point?)))
        {
            let cell = cell_of(lon, lat, width);
            let entry = cells.entry(cell.id.clone());
            let (_, weeks) = entry.or_insert_with(|| (CellOfWidth { cell, width }, Vec::new()));
            weeks.push(week);
        }
        let (enough, small): (Vec<_>, Vec<_>) = cells
            .into_values()
            .partition(|(_, weeks)| smallest.is_enough(weeks));
        large.extend(enough);
        // A field of which only the county is known is in no cell, however wide.
        rest = small
            .into_iter()
            .flat_map(|(_, weeks)| weeks)
            .chain(without.into_iter().map(|(week, _)| week))
            .collect();
    }
    // The largest first, so that the smallest is the last; of two alike the wider one.
    large.sort_by_key(|(_, weeks)| std::cmp::Reverse(weeks.len()));
    while !rest.is_empty() && !smallest.is_enough(&rest) {
        let Some((_, weeks)) = large.pop() else {
            break;
        };
        rest.extend(weeks);
    }
    let mut placed: Vec<Placed> = rest.into_iter().map(|week| (week, None)).collect();
    for (cell, weeks) in large {
        placed.extend(weeks.into_iter().map(|week| (week, Some(cell.clone()))));
    }
    placed
}

#[cfg(test)]
mod tests {
    use super::*;

    const SEASON: i32 = 2026;

    fn week<'a>(
        field_id: &'a str,
        farm_id: Option<&'a str>,
        lon: f64,
        in_window: bool,
    ) -> FieldWeek<'a> {
        FieldWeek {
            field_id,
            farm_id,
            county_id: "C",
            iso_week: "2026-W30",
            protocol: "p",
            season: SEASON,
            in_window,
            point: Some((lon, 45.0)),
            field_mean: 1.0,
            standard_error: None,
            pressure: 1.0,
        }
    }

    /// Sizes of the groups that are released, the county alone first, and how many fields are held back.
    fn sizes_of(weeks: &[FieldWeek]) -> (Vec<usize>, usize) {
        let farms_known = weeks.iter().any(|week| week.farm_id.is_some());
        let smallest = Smallest {
            rule: Rule::LEAST,
            seasons_with_farms: farms_known.then_some(SEASON).into_iter().collect(),
            narrowest: GridWidth::Km10,
        };
        let (placed, held) = placed(weeks, &smallest);
        let mut sizes: BTreeMap<Option<String>, usize> = BTreeMap::new();
        for (_, cell) in placed {
            *sizes.entry(cell.map(|cell| cell.cell.id)).or_default() += 1;
        }
        (sizes.into_values().collect(), held)
    }

    #[test]
    fn a_rest_that_is_too_small_takes_the_smallest_cell_with_it() {
        let (near, far, alone) = (-100.0, -99.0, -98.0);
        let mut weeks: Vec<FieldWeek> = ["a", "b", "c", "d"]
            .map(|id| week(id, Some(id), near, true))
            .into();
        weeks.extend(["e", "f", "g"].map(|id| week(id, Some(id), far, true)));
        assert_eq!(sizes_of(&weeks), (vec![4, 3], 0));
        weeks.push(week("h", Some("h"), alone, true));
        // The rest of the county first: e, f, g and h.
        assert_eq!(sizes_of(&weeks), (vec![4, 4], 0));
        // Two fields of a county are none of this.
        assert_eq!(sizes_of(&weeks[..2]), (vec![], 0));
    }

    #[test]
    fn a_season_without_any_farm_asks_for_more_fields() {
        let weeks = ["a", "b", "c", "d", "e"].map(|id| week(id, None, -100.0, true));
        assert_eq!(sizes_of(&weeks), (vec![5], 0));
        assert_eq!(sizes_of(&weeks[..4]), (vec![], 0));
    }

    #[test]
    fn fields_of_too_few_farms_are_no_group() {
        let mut weeks: Vec<FieldWeek> = [("a", "1"), ("b", "1"), ("c", "2")]
            .map(|(id, farm)| week(id, Some(farm), -100.0, true))
            .into();
        weeks.extend(
            [("d", "3"), ("e", "4"), ("f", "5")]
                .map(|(id, farm)| week(id, Some(farm), -99.0, true)),
        );
        assert_eq!(sizes_of(&weeks), (vec![6], 0));
        // One farm in three spellings.
        let spelled = [("a", "Farm 1"), ("b", "farm-1"), ("c", "FARM1")];
        let spelled = spelled.map(|(id, farm)| week(id, Some(farm), -100.0, true));
        assert_eq!(sizes_of(&spelled), (vec![], 0));
        // Four of six fields of one farm.
        let most = ["1", "1", "1", "1", "2", "3"];
        let most = most.map(|farm| week("a", Some(farm), -100.0, true));
        assert_eq!(sizes_of(&most), (vec![], 0));
    }

    #[test]
    fn too_few_fields_outside_the_window_are_held_back_and_counted() {
        let mut weeks: Vec<FieldWeek> = ["a", "b", "c"]
            .map(|id| week(id, Some(id), -100.0, true))
            .into();
        weeks.extend(["d", "e"].map(|id| week(id, Some(id), -100.0, false)));
        assert_eq!(sizes_of(&weeks), (vec![3], 2));
        // Where nothing is shown, nothing is counted.
        assert_eq!(sizes_of(&weeks[3..]), (vec![], 0));
    }
}
