//! Which place a row may tell: the cell of the grid, the county, or none.
//!
//! Rows are told in groups of the same county, ISO week, protocol and side of the stage window; of each group
//! those of one cell, or the rest of the county, must be as many fields and farms as a county-week needs. Fields
//! whose cell has too few are looked at in the wider cells of the grid, up to 40 km. Where the rest is too small,
//! the smallest cell joins it, until it is large enough: so the fields of a county-week that is shown are all
//! there, each among enough others, and nothing is left to be subtracted from the county's own figures. Of a
//! county-week that is suppressed no row is told, nor how many there are. Fields outside the stage window of a
//! county that is shown may be too few for a group of their own: those are held back.

use std::collections::{BTreeMap, BTreeSet};

use super::dispersion::SmallestGroup;
use crate::region::point_grid::{GridCell, GridWidth, cell_of};

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
    /// Longitude and latitude.
    pub(super) point: (f64, f64),
    pub(super) field_mean: f64,
    pub(super) standard_error: Option<f64>,
    pub(super) pressure: f64,
    pub(super) near_threshold: Option<bool>,
}

/// A cell of the grid of published points, with its width.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct CellOfWidth {
    pub(super) cell: GridCell,
    pub(super) width: GridWidth,
}

/// A field-week that is told, with its cell; without one its county alone is told.
pub(super) type Placed<'a> = (FieldWeek<'a>, Option<CellOfWidth>);

/// The field-weeks that may be told, and how many of those outside the window are held back in county-weeks
/// that are shown.
pub(super) fn placed<'a>(
    weeks: &[FieldWeek<'a>],
    shown: &BTreeMap<(String, String, String), bool>,
    smallest: SmallestGroup,
    narrowest: GridWidth,
) -> (Vec<Placed<'a>>, usize) {
    let mut groups: BTreeMap<_, Vec<FieldWeek>> = BTreeMap::new();
    for week in weeks {
        let key = [week.county_id, week.iso_week, week.protocol].map(str::to_owned);
        let county: (String, String, String) = key.into();
        if shown.get(&county) == Some(&true) {
            groups
                .entry((county, week.in_window))
                .or_default()
                .push(*week);
        }
    }
    let mut told = Vec::new();
    let mut held_back = 0;
    for group in groups.values() {
        if is_enough(group, smallest) {
            told.extend(told_by_place(group, smallest, narrowest));
        } else {
            held_back += group.len();
        }
    }
    (told, held_back)
}

/// As many fields as a county-week needs, and as many farms where farms are given; a field that names no farm
/// counts as one of its own.
fn is_enough(group: &[FieldWeek], smallest: SmallestGroup) -> bool {
    let given = group.iter().any(|week| week.farm_id.is_some());
    let farms: BTreeSet<(bool, &str)> = group
        .iter()
        .map(|week| {
            (
                week.farm_id.is_some(),
                week.farm_id.unwrap_or(week.field_id),
            )
        })
        .collect();
    group.len() >= smallest.fields as usize && (!given || farms.len() >= smallest.farms as usize)
}

fn told_by_place<'a>(
    group: &[FieldWeek<'a>],
    smallest: SmallestGroup,
    narrowest: GridWidth,
) -> Vec<Placed<'a>> {
    let mut rest = group.to_vec();
    let mut large = Vec::new();
    for width in narrowest.and_wider() {
        let mut cells: BTreeMap<String, (CellOfWidth, Vec<FieldWeek>)> = BTreeMap::new();
        for week in rest {
            let (lon, lat) = week.point;
            let cell = cell_of(lon, lat, width);
            let entry = cells.entry(cell.id.clone());
            let (_, weeks) = entry.or_insert_with(|| (CellOfWidth { cell, width }, Vec::new()));
            weeks.push(week);
        }
        let (enough, small): (Vec<_>, Vec<_>) = cells
            .into_values()
            .partition(|(_, weeks)| is_enough(weeks, smallest));
        large.extend(enough);
        rest = small.into_iter().flat_map(|(_, weeks)| weeks).collect();
    }
    // The largest first, so that the smallest is the last; of two alike the wider one.
    large.sort_by_key(|(_, weeks)| std::cmp::Reverse(weeks.len()));
    while !rest.is_empty() && !is_enough(&rest, smallest) {
        let Some((_, weeks)) = large.pop() else {
            break;
        };
        rest.extend(weeks);
    }
    let mut told: Vec<Placed> = rest.into_iter().map(|week| (week, None)).collect();
    for (cell, weeks) in large {
        told.extend(weeks.into_iter().map(|week| (week, Some(cell.clone()))));
    }
    told
}

#[cfg(test)]
mod tests {
    use super::*;

    const SMALLEST: SmallestGroup = SmallestGroup {
        fields: 3,
        farms: 3,
    };

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
            season: 2026,
            in_window,
            point: (lon, 45.0),
            field_mean: 1.0,
            standard_error: None,
            pressure: 1.0,
            near_threshold: None,
        }
    }

    fn told(weeks: &[FieldWeek], shown: bool) -> (Vec<usize>, usize) {
        let key = ("C".to_owned(), "2026-W30".to_owned(), "p".to_owned());
        let (placed, held) = placed(weeks, &[(key, shown)].into(), SMALLEST, GridWidth::Km10);
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
            .map(|id| week(id, None, near, true))
            .into();
        weeks.extend(["e", "f", "g"].map(|id| week(id, None, far, true)));
        assert_eq!(told(&weeks, true), (vec![4, 3], 0));
        weeks.push(week("h", None, alone, true));
        // The rest of the county first: e, f, g and h.
        assert_eq!(told(&weeks, true), (vec![4, 4], 0));
        assert_eq!(told(&weeks, false), (vec![], 0));
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
        assert_eq!(told(&weeks, true), (vec![6], 0));
    }

    #[test]
    fn too_few_fields_outside_the_window_are_held_back_and_counted() {
        let mut weeks: Vec<FieldWeek> = ["a", "b", "c"]
            .map(|id| week(id, None, -100.0, true))
            .into();
        weeks.extend(["d", "e"].map(|id| week(id, None, -100.0, false)));
        assert_eq!(told(&weeks, true), (vec![3], 2));
    }
}
