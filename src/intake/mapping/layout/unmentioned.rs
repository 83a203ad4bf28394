//! Columns and titles that hold data and that the mapping does not mention: they refuse the file.
//!
//! Which columns feed members is [`super::columns`]'s to find.

use std::collections::{BTreeMap, HashSet};

use crate::mapping::layout::finder::Finder;
use crate::mapping::layout::table::{At, Column, DataRow, Places};
use crate::mapping::names::{folded, is_blank, letters, quoted, shown};
use crate::mapping::plan::Ignored;
use crate::mapping::values::no_day::is_a_day;
use crate::sheet::table::Row;
use scouting::failure::Failure;

impl Finder<'_, '_> {
    /// Refuses a sheet with data in a place that neither a field nor `ignore` names.
    pub(crate) fn refuse_unmentioned(
        &self,
        columns: &[Column],
        rows: &[DataRow<'_>],
    ) -> Result<(), Failure> {
        let mapped: HashSet<usize> = columns
            .iter()
            .flat_map(|column| column.at.places())
            .collect();
        let mentioned: Vec<bool> = (0..self.header.len())
            .map(|place| mapped.contains(&place) || self.ignores(place))
            .collect();
        // One pass, since a hostile sheet may have thousands of columns and a million rows.
        let mut first: BTreeMap<usize, &Row> = BTreeMap::new();
        for row in rows {
            for (place, cell) in row.row.cells.iter().enumerate() {
                if !mentioned[place] && !is_blank(cell) {
                    first.entry(place).or_insert(row.row);
                }
            }
        }
        let days = first.keys().any(|place| is_a_day(&self.header[*place]));
        let mut found: Vec<String> = first
            .into_iter()
            .map(|(place, row)| {
                let (header, cell) = (quoted(&self.header[place]), shown(&row.cells[place]));
                let at = self.places.name("", place, row.number, "");
                match self.places {
                    Places::Grid => format!("{} {header} ({at}: {cell})", letters(place)),
                    _ => format!("{header} ({at}: {cell})"),
                }
            })
            .collect();
        let titles = self.titles.iter().filter(|name| {
            !columns
                .iter()
                .any(|column| matches!(&column.at, At::Title(title) if title == *name))
                && !self
                    .mapping
                    .ignored
                    .iter()
                    .any(|ignored| ignored.names(name))
        });
        found.extend(titles.map(|name| format!("the title {}", quoted(name))));
        found.extend(self.unmentioned_in_joined(columns));
        if found.is_empty() {
            return Ok(());
        }
        Err(self.refused(
            format!(
                "the mapping does not mention what holds data: {}",
                found.join(", ")
            ),
            self.mend_of_unmentioned(days),
        ))
    }

    /// Columns of joined sheets that no field takes and `ignore` does not list.
    fn unmentioned_in_joined(&self, columns: &[Column]) -> Vec<String> {
        let joined = self.joined.iter().enumerate();
        joined
            .flat_map(|(join, sheet)| {
                let places = columns
                    .iter()
                    .flat_map(|column| column.at.places_joined(join));
                let mapped: HashSet<usize> = places.collect();
                let ignores = |header: &str| {
                    let mut ignored = self.mapping.ignored.iter();
                    ignored.any(|ignored| ignored.names(header))
                };
                sheet.left_over(|place, header| mapped.contains(&place) || ignores(header))
            })
            .collect()
    }

    fn mend_of_unmentioned(&self, days: bool) -> String {
        let mut mend = "give each a [[field]], or list it in ignore".to_owned();
        if days {
            mend += "; where headers are dates or weeks, one row holds several visits: give each its own row, with the day in a column of its own, or catch the day in the namePattern of the counts, as (?<day>…), and map name = \"day\" to /observed_on";
        }
        // A text file has no name of a sheet, and hides nothing.
        if !self.sheet.name.is_empty() {
            mend += "; a column that you do not see is hidden, and was sent too";
        }
        mend
    }

    fn ignores(&self, place: usize) -> bool {
        self.mapping.ignored.iter().any(|ignored| match ignored {
            Ignored::Letter(letter) => *letter == place,
            other => !self.header[place].is_empty() && other.names(&self.header[place]),
        })
    }
}

impl Ignored {
    /// Whether it names a column by its header.
    pub(in crate::mapping) fn names(&self, header: &str) -> bool {
        match self {
            Ignored::Name(name) => *name == folded(header),
            Ignored::Pattern(pattern) => pattern.is_match(header),
            Ignored::Letter(_) => false,
        }
    }
}
