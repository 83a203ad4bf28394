//! The options of `load` and `check` that say how spreadsheets are read, of which seasons, and whether they take the place of what came before.

use std::path::PathBuf;

use crate::load::each::Columns;
use intake::mapping::{Mapping, submission_instant};
use scouting::failure::{Failure, Kind};
use scouting::plain_file::{SETTINGS_BYTES_MAX, read_plain_text};

/// What the columns of spreadsheets are, which seasons are taken, and what becomes of other content.
#[derive(Debug, Default, clap::Args)]
pub(super) struct TableColumns {
    /// Mapping file (TOML) for spreadsheets that are not of our own layouts; a FILE that is no folder must be a table then. Without it, the tables of a folder are read by the mapping files in it
    #[arg(long, value_name = "FILE")]
    mapping: Option<PathBuf>,

    /// When the records of the spreadsheets were handed in, where no column says so: a day, as 2026-07-21 (its end in UTC), or a time with its zone, as 2026-07-21T18:03:00Z
    #[arg(long, value_name = "TIME")]
    submitted_at: Option<String>,

    /// Year of an earlier season whose visits are taken on purpose; may be repeated
    #[arg(long, value_name = "YEAR")]
    pub(super) season: Vec<i16>,

    /// Take records with other content as the next revision of their visits: for files that were loaded before, after their mapping was corrected. Each change is reported
    #[arg(long)]
    pub(super) supersede: bool,
}

impl TableColumns {
    /// The mapping that was named, read and checked, and the time of submission.
    pub(super) fn read(&self, files: &[PathBuf]) -> Result<Columns, Failure> {
        let is_for_tables = self.mapping.is_some() || files.iter().any(|file| file.is_dir());
        if self.submitted_at.is_some() && !is_for_tables {
            return Err(Failure::new(
                Kind::Settings,
                "--submitted-at is for tables that are read by a mapping, and there is none",
            )
            .mend("name the mapping with --mapping, or a folder that holds it"));
        }
        let submitted_at = self.submitted_at.as_deref().map(submission_instant);
        Ok(Columns {
            mapping: self.mapping()?,
            submitted_at: submitted_at.transpose()?,
        })
    }

    fn mapping(&self) -> Result<Option<Mapping>, Failure> {
        let Some(path) = &self.mapping else {
            return Ok(None);
        };
        let text = read_plain_text(path, SETTINGS_BYTES_MAX)?;
        Mapping::read(&text, &path.display().to_string()).map(Some)
    }
}
