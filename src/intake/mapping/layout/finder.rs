//! One sheet under a mapping: the search for a column by its name, and the refusal of a sheet that does not fit.

use crate::mapping::layout::joined::JoinedSheet;
use crate::mapping::layout::table::{At, Places};
use crate::mapping::names::{folded, letters, quoted};
use crate::mapping::plan::{Mapping, Selector};
use crate::sheet::table::Sheet;
use scouting::failure::{Failure, Kind};

/// Finds columns and rows of one sheet.
pub(in crate::mapping) struct Finder<'a, 'm> {
    pub mapping: &'m Mapping,
    pub sheet: &'a Sheet,
    pub header: &'m [String],
    pub folded_header: &'m [String],
    pub titles: &'m [String],
    pub places: Places<'m>,
    pub joined: &'m [JoinedSheet<'a>],
    pub file_name: &'m str,
}

impl Finder<'_, '_> {
    /// A refusal of the file, with the headers that were found.
    pub(crate) fn refused(&self, what: String, mend: impl Into<String>) -> Failure {
        let sheet = if self.sheet.name.is_empty() {
            String::new()
        } else {
            format!("sheet {}, ", quoted(&self.sheet.name))
        };
        let found: Vec<String> = self
            .header
            .iter()
            .enumerate()
            .filter(|(_, text)| !text.is_empty())
            .map(|(place, text)| format!("{} {}", letters(place), quoted(text)))
            .collect();
        let found = if found.is_empty() {
            "no text at all".to_owned()
        } else {
            found.join(", ")
        };
        let rows: Vec<String> = self
            .mapping
            .form
            .header_rows
            .iter()
            .map(u64::to_string)
            .collect();
        Failure::new(
            Kind::Submission,
            format!("cannot load {}: {what}", self.file_name),
        )
        .at(format!(
            "{sheet}header (row {}): {found}",
            rows.join(" and ")
        ))
        .mend(mend)
    }

    /// The one column of a name or a letter.
    pub(crate) fn find(&self, selector: &Selector) -> Result<Option<(At, String)>, Failure> {
        let names = match selector {
            Selector::Letter(place) => {
                let header = self.header.get(*place);
                return Ok(header.map(|header| (At::Row(*place), header.clone())));
            }
            Selector::Names(names) => names,
            _ => return Ok(None),
        };
        let folded_names: Vec<String> = names.iter().map(|name| folded(name)).collect();
        // A record without lists and objects has plain names, which a JSON Pointer means as well.
        let is_json = self.sheet.lists.is_some();
        let is_named = |header: &String| {
            folded_names.contains(header) || is_json && folded_names.contains(&format!("/{header}"))
        };
        let places: Vec<usize> = (0..self.header.len())
            .filter(|place| is_named(&self.folded_header[*place]))
            .collect();
        let titles = self
            .titles
            .iter()
            .filter(|title| folded_names.contains(&folded(title)));
        let titles: Vec<&String> = titles.collect();
        let joined: Vec<(At, String)> = self
            .joined
            .iter()
            .enumerate()
            .flat_map(|(join, sheet)| {
                let places = sheet.places(&folded_names).into_iter();
                places.map(move |(place, header)| (At::Joined(join, place), header.to_owned()))
            })
            .collect();
        match (places.as_slice(), titles.as_slice(), joined.as_slice()) {
            ([], [], []) => Ok(None),
            ([place], [], []) => Ok(Some((At::Row(*place), self.header[*place].clone()))),
            ([], [title], []) => Ok(Some((At::Title((*title).clone()), (*title).clone()))),
            ([], [], [found]) => Ok(Some(found.clone())),
            ([_], [], [_, ..]) | ([], [], [_, _, ..]) => Err(self.refused(
                format!("more than one sheet has a column {}", wanted(selector)),
                "rename one of the headers, so that it is known which of them is meant",
            )),
            _ => {
                let shown: Vec<String> = places.iter().map(|place| letters(*place)).collect();
                Err(self.refused(
                    format!(
                        "more than one column is called {}: {}",
                        wanted(selector),
                        shown.join(", ")
                    ),
                    "name the column by its letter: column = \"C\"",
                ))
            }
        }
    }
}

/// What a selector looks for, in words.
pub(in crate::mapping) fn wanted(selector: &Selector) -> String {
    match selector {
        Selector::Names(names) => {
            let names: Vec<String> = names.iter().map(|name| quoted(name)).collect();
            names.join(" or ")
        }
        Selector::Letter(place) => format!("column {}", letters(*place)),
        Selector::Together(names) => {
            let names: Vec<String> = names.iter().map(|name| quoted(name)).collect();
            names.join(" and ")
        }
        Selector::Pattern(pattern) => format!("names like {}", pattern.as_str()),
        Selector::Cell(place, row) => format!("cell {}{row}", letters(*place)),
    }
}
