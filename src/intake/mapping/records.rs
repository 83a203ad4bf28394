//! A mapping from the text of its file, and records from the sheets that it is applied to.

use jiff::Timestamp;

use super::definition::check;
use super::group;
use super::plan::Mapping;
use crate::mapping::layout::lay_out::lay_out;
use crate::mapping::layout::sheets::{SheetNotRead, choose_sheets, not_read};
use crate::sheet::table::{Sheet, TableRecord};
use scouting::failure::{Failure, Kind};

const SUBMITTED_AT: &str = "/submitted_at";

impl Mapping {
    /// Reads a mapping file. `place` is its name for messages.
    ///
    /// # Errors
    /// [`Failure`] with the place and how to correct it: no TOML, an unknown member, target or unit, a
    /// regular expression that is none, a member with two sources or a required one with none.
    pub fn read(text: &str, place: &str) -> Result<Mapping, Failure> {
        check::read(text, place)
    }

    /// Makes records of the rows of a file's sheets, in the order of their first rows.
    ///
    /// Cells that cannot be read become findings of their record. `file_name` is for messages.
    ///
    /// # Errors
    /// [`Failure`] if the file as a whole does not fit: no such sheet or column, a column that holds
    /// data and that the mapping does not mention, nothing that gives `/submitted_at`.
    pub fn records(&self, sheets: &[Sheet], file_name: &str) -> Result<Vec<TableRecord>, Failure> {
        if self.submitted_at.is_none() && !self.gives("/submitted_at") {
            return Err(Failure::new(
                Kind::Settings,
                format!("cannot load {file_name}: nothing says when its records were submitted"),
            )
            .at(self.place.clone())
            .mend("map a column to /submitted_at, fix it in [constant], or give the time with the command"));
        }
        self.refuse_two_times(file_name)?;
        let mut records = Vec::new();
        for chosen in choose_sheets(self, sheets, file_name)? {
            let table = lay_out(self, &chosen, sheets, file_name)?;
            records.extend(group::records(self, &table));
        }
        Ok(records)
    }

    /// Says whether the sheets have all the columns that the mapping names, and nothing with data that it does not mention.
    ///
    /// # Errors
    /// A [`Failure`] that says what does not fit.
    pub fn fits(&self, sheets: &[Sheet], file_name: &str) -> Result<(), Failure> {
        for chosen in choose_sheets(self, sheets, file_name)? {
            lay_out(self, &chosen, sheets, file_name)?;
        }
        Ok(())
    }

    /// Refuses two times of submission that differ: neither may be dropped in silence.
    fn refuse_two_times(&self, file_name: &str) -> Result<(), Failure> {
        let fixed = self
            .constants
            .iter()
            .find(|constant| constant.member.pointer == SUBMITTED_AT);
        let (Some(given), Some(fixed)) = (&self.submitted_at, fixed) else {
            return Ok(());
        };
        let fixed = fixed.value.as_str().unwrap_or_default();
        if instant(given).is_some() && instant(given) == instant(fixed) {
            return Ok(());
        }
        Err(Failure::new(
            Kind::Settings,
            format!(
                "cannot load {file_name}: --submitted-at says {given}, and the mapping fixes {SUBMITTED_AT} to {fixed}"
            ),
        )
        .at(format!("{}, [constant]", self.place))
        .mend("keep one of them: a mapping for the sheets of every week has no time of its own"))
    }
}

fn instant(text: &str) -> Option<Timestamp> {
    text.parse().ok()
}

impl Mapping {
    /// The sheets that it leaves out, though they look like what it reads; none of a file that it does not fit.
    pub fn not_read(&self, sheets: &[Sheet]) -> Vec<SheetNotRead> {
        match choose_sheets(self, sheets, "") {
            Ok(chosen) => not_read(self, sheets, &chosen),
            Err(_) => Vec::new(),
        }
    }
}
