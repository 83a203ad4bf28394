//! Which sheets of a file a mapping reads, and the header that each of them has.
//!
//! Its columns and rows are laid out in [`super::lay_out`].

use std::collections::HashSet;

use serde::Serialize;

use crate::mapping::layout::turned::Turned;
use crate::mapping::names::{content, folded, is_blank, quoted};
use crate::mapping::plan::{Mapping, SheetChoice};
use crate::sheet::table::Sheet;
use scouting::failure::{Failure, Kind};

/// A sheet that the mapping reads, with what its name says.
pub(in crate::mapping) struct ChosenSheet<'a> {
    /// The sheet as sent.
    pub sheet: &'a Sheet,
    /// The sheet with rows and columns exchanged, where the mapping says so.
    pub turned: Option<Turned>,
    /// Names and texts of the groups of sheetPattern.
    pub said: Vec<(String, String)>,
}

impl ChosenSheet<'_> {
    /// The sheet whose rows are read.
    pub(in crate::mapping) fn rows_of(&self) -> &Sheet {
        self.turned
            .as_ref()
            .map_or(self.sheet, |turned| &turned.sheet)
    }
}

/// The sheets that a mapping reads; a sheet with data that it does not mention refuses the file.
pub(in crate::mapping) fn choose_sheets<'a>(
    mapping: &Mapping,
    sheets: &'a [Sheet],
    file_name: &str,
) -> Result<Vec<ChosenSheet<'a>>, Failure> {
    let filled: Vec<(usize, &Sheet)> = sheets
        .iter()
        .enumerate()
        .filter(|(_, sheet)| sheet.rows.iter().any(|row| !row.cells.iter().all(is_blank)))
        .filter(|(_, sheet)| !is_joined(mapping, &sheet.name))
        .collect();
    let listed: Vec<String> = filled
        .iter()
        .map(|(_, sheet)| quoted(&sheet.name))
        .collect();
    let refused = |what: String, mend: &str| {
        Failure::new(Kind::Submission, format!("cannot load {file_name}: {what}"))
            .at(format!("sheets with data: {}", listed.join(", ")))
            .mend(mend)
    };
    let is_text_file = matches!(filled.as_slice(), [(_, sheet)] if sheet.name.is_empty());
    let choice = &mapping.form.sheet;
    let mut chosen = Vec::new();
    let mut left_out = Vec::new();
    for (place, sheet) in filled {
        let taken = if is_text_file && !matches!(choice, SheetChoice::Pattern(_)) {
            true
        } else {
            match choice {
                SheetChoice::TheOnlyOne => listed.len() == 1,
                SheetChoice::Names(names) => {
                    names.iter().any(|name| folded(name) == folded(&sheet.name))
                }
                SheetChoice::Number(number) => *number == place + 1,
                SheetChoice::Pattern(pattern) => pattern.is_match(&sheet.name),
            }
        };
        if taken {
            chosen.push(ChosenSheet {
                sheet,
                turned: mapping.form.transpose.then(|| Turned::of(sheet)),
                said: said_by_name(choice, &sheet.name),
            });
        } else if !ignores_sheet(mapping, &sheet.name) {
            left_out.push(quoted(&sheet.name));
        }
    }
    if listed.is_empty() {
        return Err(Failure::new(
            Kind::Submission,
            format!("cannot load {file_name}: it is empty, no sheet holds data"),
        )
        .mend("was it saved? submit the sheet with its header and its rows"));
    }
    if chosen.is_empty() {
        let what = match choice {
            SheetChoice::TheOnlyOne if listed.len() > 1 => {
                format!(
                    "{} sheets hold data, and the mapping does not say which to read",
                    listed.len()
                )
            }
            _ => "the mapping does not find its sheet".to_owned(),
        };
        return Err(refused(
            what,
            "name it in [dialect]: sheetName, sheetNumber or sheetPattern; one that you do not see is hidden, and was sent too",
        ));
    }
    if !left_out.is_empty() {
        return Err(refused(
            format!(
                "the mapping does not mention the sheet {}",
                left_out.join(", ")
            ),
            "take it by sheetPattern, or list it in ignoreSheets of [dialect]; one that you do not see is hidden, and was sent too",
        ));
    }
    Ok(chosen)
}

fn is_joined(mapping: &Mapping, name: &str) -> bool {
    mapping
        .joins
        .iter()
        .any(|join| folded(&join.sheet) == folded(name))
}

fn ignores_sheet(mapping: &Mapping, name: &str) -> bool {
    let ignored = &mapping.form.ignored_sheets;
    ignored.contains(&folded(name)) || ignored.iter().any(|name| name == "*")
}

/// A sheet that the mapping leaves out, though its columns are those of one that it reads.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SheetNotRead {
    /// Its name.
    pub sheet: String,
    /// Its rows with data, below the header.
    pub rows: u64,
}

/// The sheets that `ignoreSheets` leaves out and that look like the mapped layout: half of the headers or more of a
/// sheet that is read are over their columns too.
pub(in crate::mapping) fn not_read(
    mapping: &Mapping,
    sheets: &[Sheet],
    chosen: &[ChosenSheet<'_>],
) -> Vec<SheetNotRead> {
    let names = |sheet: &Sheet| -> HashSet<String> {
        let header = header(mapping, sheet);
        let names = header.iter().map(|text| folded(text));
        names.filter(|name| !name.is_empty()).collect()
    };
    if mapping.form.transpose {
        return Vec::new();
    }
    let read: Vec<HashSet<String>> = chosen.iter().map(|chosen| names(chosen.sheet)).collect();
    let last_header = mapping.form.header_rows.last().copied().unwrap_or(0);
    let mut not_read = Vec::new();
    for sheet in sheets {
        let is_read = chosen
            .iter()
            .any(|chosen| std::ptr::eq(chosen.sheet, sheet));
        if is_read || is_joined(mapping, &sheet.name) {
            continue;
        }
        let own = names(sheet);
        let is_alike = |read: &HashSet<String>| {
            !read.is_empty() && 2 * read.intersection(&own).count() >= read.len()
        };
        let below = sheet.rows.iter().filter(|row| row.number > last_header);
        let rows = below.filter(|row| !row.cells.iter().all(is_blank)).count() as u64;
        if rows > 0 && read.iter().any(is_alike) {
            not_read.push(SheetNotRead {
                sheet: sheet.name.clone(),
                rows,
            });
        }
    }
    not_read
}

fn said_by_name(choice: &SheetChoice, name: &str) -> Vec<(String, String)> {
    let SheetChoice::Pattern(pattern) = choice else {
        return Vec::new();
    };
    groups(pattern, name)
}

/// The named groups of a pattern and what they caught.
pub(in crate::mapping) fn groups(pattern: &regex::Regex, text: &str) -> Vec<(String, String)> {
    let Some(caught) = pattern.captures(text) else {
        return Vec::new();
    };
    pattern
        .capture_names()
        .flatten()
        .filter_map(|name| Some((name.to_owned(), caught.name(name)?.as_str().to_owned())))
        .collect()
}

/// The names that title rows and the sheet's name give, each once.
pub(in crate::mapping) fn title_names(mapping: &Mapping, chosen: &ChosenSheet<'_>) -> Vec<String> {
    let mut names: Vec<String> = chosen.said.iter().map(|(name, _)| name.clone()).collect();
    let of_blocks = mapping
        .blocks
        .iter()
        .flat_map(|pattern| pattern.capture_names().flatten());
    let in_headers = mapping
        .fields
        .iter()
        .flat_map(|field| field.selector.columns_in_headers());
    for name in of_blocks.chain(in_headers) {
        if !names.iter().any(|known| known == name) {
            names.push(name.to_owned());
        }
    }
    names
}

/// Blanks take the text to their left, up to where a row above begins something new.
fn fill_to_the_right(upper: &mut [Vec<String>], last: &[String]) {
    let mut begins = vec![false; last.len()];
    for line in upper {
        let own: Vec<bool> = line.iter().map(|text| !text.is_empty()).collect();
        for place in 1..last.len() {
            if !own[place] && !begins[place] && !last[place].is_empty() {
                line[place] = line[place - 1].clone();
            }
        }
        for (begins, own) in begins.iter_mut().zip(own) {
            *begins |= own;
        }
    }
}

/// The header over each column, as the mapping says.
pub(in crate::mapping) fn header(mapping: &Mapping, sheet: &Sheet) -> Vec<String> {
    let form = &mapping.form;
    joined_header(
        sheet,
        &form.header_rows,
        &form.header_join,
        form.header_fill,
    )
}

/// The header over each column: the texts of the header rows, joined. A text over several columns
/// is in the first of them, so blanks to its right take it, in all rows but the last.
pub(in crate::mapping) fn joined_header(
    sheet: &Sheet,
    wanted: &[u64],
    join: &str,
    fill: bool,
) -> Vec<String> {
    let width = sheet
        .rows
        .iter()
        .map(|row| row.cells.len())
        .max()
        .unwrap_or(0);
    let mut lines: Vec<Vec<String>> = wanted
        .iter()
        .map(|number| {
            let row = sheet.rows.iter().find(|row| row.number == *number);
            (0..width)
                .map(|place| {
                    row.and_then(|row| row.cells.get(place))
                        .map(content)
                        .unwrap_or_default()
                })
                .collect()
        })
        .collect();
    let Some((last, upper)) = lines.split_last_mut() else {
        return vec![String::new(); width];
    };
    if fill {
        fill_to_the_right(upper, last);
    }
    (0..width)
        .map(|place| {
            let parts: Vec<&str> = lines
                .iter()
                .map(|line| line[place].as_str())
                .filter(|text| !text.is_empty())
                .collect();
            parts.join(join)
        })
        .collect()
}
