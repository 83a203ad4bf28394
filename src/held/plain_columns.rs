//! The columns of the plain layout as the person who corrects a record sees them: which member each holds, and what is
//! expected of it.
//!
//! The layout itself is read and written in `mapping::plain`; a unit test holds the two together.

use scouting::visit::members::VISIT_COLUMNS;

/// Places of the point among them.
pub(crate) const LON: usize = 8;
pub(crate) const LAT: usize = 9;
/// Columns of the site and the unit, after those of the visit; counts of bracts follow them.
pub(crate) const SITE: usize = VISIT_COLUMNS.len();
pub(crate) const SIDE: usize = SITE + 1;
pub(crate) const SITE_LON: usize = SITE + 2;
pub(crate) const SITE_LAT: usize = SITE + 3;
pub(crate) const UNIT: usize = SITE + 4;
pub(crate) const COUNT: usize = SITE + 5;
pub(crate) const CATCH: usize = SITE + 6;
pub(crate) const NIGHTS: usize = SITE + 7;
pub(crate) const FIRST_BRACT: usize = SITE + 8;
/// What a column expects, if any record needs it.
pub(crate) fn expected_in(column: usize) -> Option<&'static str> {
    match column {
        NIGHTS => Some("trap-nights, a whole number, 1 or more"),
        column if column >= COUNT => Some("a count, a whole number, 0 or more"),
        column => VISIT_COLUMNS.get(column)?.1.asked,
    }
}

/// What is expected, without what only the author of mapping files can change.
pub(crate) fn for_the_sender(right: &str) -> &str {
    let Some(place) = right.find("the mapping says") else {
        return right;
    };
    let before = &right[..place];
    let end = before.rfind("; ").or_else(|| before.rfind(", "));
    end.map_or(right, |end| &right[..end])
}

#[cfg(test)]
mod tests {
    use super::*;
    use intake::mapping::plain_header;

    #[test]
    fn the_columns_are_those_of_the_plain_layout() {
        let header = plain_header(1);
        let names: Vec<&str> = VISIT_COLUMNS
            .iter()
            .map(|(column, _)| column.name)
            .collect();
        assert_eq!(names, header[..SITE]);
        let places = [
            (SITE, "site"),
            (SIDE, "side"),
            (SITE_LON, "site_lon"),
            (SITE_LAT, "site_lat"),
            (UNIT, "unit"),
            (COUNT, "count"),
            (CATCH, "catch"),
            (NIGHTS, "nights"),
            (FIRST_BRACT, "count_1"),
            (LON, "lon"),
            (LAT, "lat"),
        ];
        for (place, name) in places {
            assert_eq!(header[place], name);
        }
    }

    #[test]
    fn a_sender_is_not_told_how_mapping_files_are_written() {
        for (right, expected) in [
            ("a count, 0 or more", "a count, 0 or more"),
            (
                "an unambiguous date: 2026-06-07, or 2026-07-06; the mapping says which",
                "an unambiguous date: 2026-06-07, or 2026-07-06",
            ),
            (
                "a date as 2026-07-21, or the mapping says the format: %d.%m.%Y",
                "a date as 2026-07-21",
            ),
            (
                "counts; if a blank unit was not examined, the mapping says x; if blank is 0, y",
                "counts",
            ),
        ] {
            assert_eq!(for_the_sender(right), expected);
        }
    }
}
