//! Which sheets of a workbook the draft reads: those under one header together, and no other.

use std::sync::LazyLock;

use regex::Regex;

use super::header_rows::Header;
use super::toml_text::{toml_list, toml_pattern, toml_text};
use crate::mapping::names::is_blank;
use crate::sheet::table::Sheet;

/// A sheet that is not read may be one of visits if it has so many known headers.
const KNOWN_MIN: usize = 3;

/// A figure in the name of a sheet, which the next sheet has otherwise.
static FIGURES: LazyLock<Regex> =
    LazyLock::new(|| Regex::new("[0-9]+").expect("a pattern of ours compiles"));

/// The sheets of a file, sorted by what the draft does with them.
pub(super) struct Tabs<'a> {
    pub header: Header,
    /// Read together: the first has the header.
    pub read: Vec<&'a Sheet>,
    /// Not read, and hold other things.
    ignored: Vec<&'a Sheet>,
    /// Not read, and may hold visits in another layout.
    doubtful: Vec<&'a Sheet>,
}

impl<'a> Tabs<'a> {
    /// Sorts the sheets of a file; `None` if none seems to have a header.
    pub(super) fn of(sheets: &'a [Sheet]) -> Option<Tabs<'a>> {
        let filled = sheets
            .iter()
            .filter(|sheet| sheet.rows.iter().any(|row| !row.cells.iter().all(is_blank)));
        let filled: Vec<(&Sheet, Option<Header>)> =
            filled.map(|sheet| (sheet, Header::of(sheet))).collect();
        let known = |header: &Option<Header>| header.as_ref().map_or(0, Header::known);
        let most = filled.iter().map(|(_, header)| known(header)).max()?;
        let header = filled
            .iter()
            .filter(|(_, header)| known(header) == most)
            .find_map(|(_, header)| header.clone())?;
        let mut tabs = Tabs {
            header,
            read: Vec::new(),
            ignored: Vec::new(),
            doubtful: Vec::new(),
        };
        for (sheet, header) in filled {
            let is_alike = header
                .as_ref()
                .is_some_and(|header| header.is_like(&tabs.header));
            match known(&header) {
                _ if is_alike => tabs.read.push(sheet),
                KNOWN_MIN.. => tabs.doubtful.push(sheet),
                _ => tabs.ignored.push(sheet),
            }
        }
        Some(tabs)
    }

    /// The lines of `[dialect]`.
    pub(super) fn lines(&self) -> String {
        let mut lines = self.choice();
        if !self.ignored.is_empty() {
            let names = toml_list(self.ignored.iter().map(|sheet| &sheet.name));
            lines += &format!("# These sheets do not look like visits.\nignoreSheets = {names}\n");
        }
        for sheet in &self.doubtful {
            lines += &format!(
                "# DECIDE: the sheet {} has headers of visits, or of what belongs to them, in another form. The file is refused until\n\
                 # it is in ignoreSheets; visits in it need a mapping of their own.\n",
                toml_text(&sheet.name)
            );
        }
        let rows: Vec<String> = self.header.rows.iter().map(u64::to_string).collect();
        lines + &format!("headerRows = [{}]\n", rows.join(", "))
    }

    fn choice(&self) -> String {
        let names: Vec<&str> = self.read.iter().map(|sheet| sheet.name.as_str()).collect();
        let is_alone = self.ignored.is_empty() && self.doubtful.is_empty();
        match names.as_slice() {
            [_] if is_alone => String::new(),
            [name] => format!("sheetName = {}\n", toml_text(name)),
            [first, others @ ..] => {
                let pattern = pattern(first);
                let is_whole = others.iter().all(|name| pattern == self::pattern(name));
                let catches_no_other = |pattern: &str| {
                    let regex = Regex::new(pattern).ok();
                    let mut other = self.ignored.iter().chain(&self.doubtful);
                    regex.is_some_and(|regex| !other.any(|sheet| regex.is_match(&sheet.name)))
                };
                let choice = match is_whole && catches_no_other(&pattern) {
                    true => format!("sheetPattern = {}", toml_pattern(&pattern)),
                    false => format!("sheetName = {}", toml_list(&names)),
                };
                format!("# Sheets under the same headers are read together.\n{choice}\n")
            }
            [] => String::new(),
        }
    }
}

/// The name of a sheet with any figures in the place of its own.
fn pattern(name: &str) -> String {
    let fixed: Vec<String> = FIGURES.split(name).map(regex::escape).collect();
    format!("^{}$", fixed.join("[0-9]+"))
}
