//! What is counted on what, and what one row of the sheet is, as its columns show it.

use std::collections::HashSet;

use super::known_headers::{CATCH, DAY, FIELD, HEAD_COUNT, NIGHTS, PLANT_COUNT, SCOUT, SITE};
use super::repeats::{Level, Repeat};
use super::seen::Seen;
use crate::mapping::names::content;

/// On what the counts are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Counted {
    /// The bracts of a head.
    Bracts,
    /// Plants, or heads with one total each.
    Plants,
    Traps,
    Unknown,
}

/// The form of a sheet.
#[derive(Debug, Clone, Copy)]
pub(super) struct Form {
    pub counted: Counted,
    /// `None` if it cannot be seen.
    pub row_is: Option<&'static str>,
}

impl Counted {
    /// The member that the counts are for.
    pub(super) fn member(self) -> &'static str {
        match self {
            Counted::Bracts => HEAD_COUNT,
            Counted::Plants => PLANT_COUNT,
            Counted::Traps => CATCH,
            Counted::Unknown => "?",
        }
    }

    /// The name of a unit.
    pub(super) fn unit(self) -> &'static str {
        match self {
            Counted::Bracts => "head",
            Counted::Plants => "plant",
            Counted::Traps => "trap",
            Counted::Unknown => "unit",
        }
    }
}

impl Form {
    /// The form of a table.
    pub(super) fn of(seen: &Seen<'_>) -> Form {
        let counted = counted(seen);
        Form {
            counted,
            row_is: row_is(seen, counted),
        }
    }
}

/// Whether columns that repeat count at a level. A lone `B` may be a bud, unless something else says which head.
pub(super) fn repeats_at(seen: &Seen<'_>, repeat: &Repeat, level: Level) -> bool {
    let levels = repeat.shape.levels().unwrap_or_default();
    levels.contains(&level) && !(level == Level::Bract && may_be_buds(seen, repeat))
}

/// Whether `B1` may be a bud with one total, or a bract.
pub(super) fn may_be_buds(seen: &Seen<'_>, repeat: &Repeat) -> bool {
    let levels = repeat.shape.levels().unwrap_or_default();
    let names_head = seen.has("{head}") || levels.contains(&Level::Head);
    levels.last() == Some(&Level::Bract) && repeat.shape.ends_in_letter() && !names_head
}

fn counted(seen: &Seen<'_>) -> Counted {
    let repeated = |level| {
        seen.repeats
            .iter()
            .any(|repeat| repeats_at(seen, repeat, level))
    };
    if [CATCH, NIGHTS, "{trap}"].iter().any(|to| seen.has(to)) || repeated(Level::Trap) {
        Counted::Traps
    } else if seen.has("{bract}") || repeated(Level::Bract) {
        Counted::Bracts
    } else if seen.has("{head}")
        || seen.has("{plant}")
        || repeated(Level::Head)
        || repeated(Level::Plant)
    {
        Counted::Plants
    } else {
        Counted::Unknown
    }
}

fn row_is(seen: &Seen<'_>, counted: Counted) -> Option<&'static str> {
    let unit = ["{head}", "{plant}", "{trap}"]
        .iter()
        .any(|to| seen.has(to));
    let units_repeat = [Level::Head, Level::Plant, Level::Trap]
        .iter()
        .any(|level| {
            seen.repeats
                .iter()
                .any(|repeat| repeats_at(seen, repeat, *level))
        });
    if counted == Counted::Unknown {
        return None;
    }
    if seen.has("{bract}") {
        return Some("bract");
    }
    if unit {
        return Some(counted.unit());
    }
    let key = [FIELD, DAY, SCOUT];
    if seen.has(SITE) {
        let at_site = [FIELD, DAY, SCOUT, SITE];
        return match (units_repeat, repeats_rows(seen, &at_site)) {
            (true, false) => Some("site"),
            // Rows of one site without a number are its heads in their order.
            (false, true) if counted == Counted::Bracts => Some("head"),
            (false, false) if counted == Counted::Traps => Some("site"),
            _ => None,
        };
    }
    let is_visit = units_repeat || counted == Counted::Traps;
    (is_visit && !repeats_rows(seen, &key)).then_some("visit")
}

/// Whether two rows say the same of some members.
fn repeats_rows(seen: &Seen<'_>, members: &[&str]) -> bool {
    let places: Vec<usize> = members.iter().filter_map(|to| seen.place_of(to)).collect();
    let mut known: HashSet<Vec<String>> = HashSet::new();
    let text = |row: &crate::sheet::table::Row, place: &usize| {
        row.cells.get(*place).map(content).unwrap_or_default()
    };
    let keys = seen
        .rows
        .iter()
        .map(|row| places.iter().map(|place| text(row, place)).collect());
    let mut keys = keys.filter(|key: &Vec<String>| key.iter().any(|text| !text.is_empty()));
    keys.any(|key| !known.insert(key))
}
