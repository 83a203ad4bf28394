//! A table-shaped submission → raw records, by whichever reader knows its layout.
//!
//! Without a mapping, only layouts of our own are taken: corrected exports, count sheets and the plain
//! layout. Nothing else is guessed.

use crate::corrections::corrected::corrected_records;
use crate::corrections::corrected_rows::{columns_added, corrected_rows_of};
use crate::count_sheet::reading::{self, count_sheet_records};
use crate::mapping::{Mapping, plain_records};
use crate::read::no_table::without_rows;
use crate::read::not_read::NotRead;
use crate::read::raw_record::RawRecord;
use crate::read::sheets::read_sheets;
use crate::read::submitted::SubmittedFile;
use crate::read::table_doubts::doubt_by_other_rows;
use crate::sheet::table::{Sheet, TableRecord};
use scouting::failure::{Failure, Kind};
use scouting::protocol::sheet_layout::{COUNTS_TAB, VISITS_TAB};

/// What is read of a table.
#[derive(Default)]
pub(crate) struct TableRead {
    /// Its records, in the order of their first rows.
    pub records: Vec<RawRecord>,
    /// What is left out.
    pub not_read: NotRead,
}

/// Reads a table.
///
/// # Errors
/// If the table cannot be read, or neither the mapping nor a layout of ours fits it.
pub(crate) fn table_records(
    file: &SubmittedFile,
    mapping: Option<&Mapping>,
) -> Result<TableRead, Failure> {
    let sheets = read_sheets(file, mapping)?;
    // What was sent out to be corrected says so itself, next to whatever tables a mapping is for.
    let lines = corrected_records(&sheets, &file.name).transpose()?;
    let rows = corrected_rows_of(&sheets, &file.name).transpose()?;
    if lines.is_some() || rows.is_some() {
        let records = lines.into_iter().chain(rows);
        return Ok(TableRead {
            records: records.flatten().collect(),
            not_read: NotRead {
                columns: columns_added(&sheets),
                ..NotRead::default()
            },
        });
    }
    if let Some(mapping) = mapping {
        let records = mapping.records(&sheets, &file.name)?;
        if records.is_empty() {
            return Err(without_rows(&file.name));
        }
        return Ok(TableRead {
            records: of_table(records),
            not_read: NotRead {
                sheets: mapping.not_read(&sheets),
                ..NotRead::default()
            },
        });
    }
    let read = count_sheet_records(&sheets, &file.name)
        .map(|records| filled(records?, &file.name))
        .or_else(|| plain_records(&sheets, &file.name))
        .unwrap_or_else(|| Err(without_mapping(&file.name)));
    Ok(TableRead {
        records: of_table(read?),
        not_read: NotRead {
            columns: reading::columns_added(&sheets),
            ..NotRead::default()
        },
    })
}

/// The records of a count sheet, if anybody filled it.
fn filled(records: Vec<TableRecord>, name: &str) -> Result<Vec<TableRecord>, Failure> {
    match records.is_empty() {
        false => Ok(records),
        true => Err(Failure::new(
            Kind::Submission,
            format!("cannot load {name}: the count sheet is empty: no visit is filled in, and no count"),
        )
        .at(format!("tabs {VISITS_TAB} and {COUNTS_TAB}"))
        .mend("was it saved after it was filled? ask for the filled sheet; an empty one need not be sent")),
    }
}

/// The records of a whole table, with what they make doubtful about each other.
fn of_table(records: Vec<TableRecord>) -> Vec<RawRecord> {
    let mut records: Vec<RawRecord> = records.into_iter().map(RawRecord::of_rows).collect();
    doubt_by_other_rows(&mut records);
    records
}

/// Whether a table is of a layout of our own, or was sent out to be corrected: then no mapping is asked.
pub(crate) fn is_our_layout(sheets: &[Sheet], name: &str) -> bool {
    corrected_records(sheets, name).is_some()
        || corrected_rows_of(sheets, name).is_some()
        || count_sheet_records(sheets, name).is_some()
        || plain_records(sheets, name).is_some()
}

fn without_mapping(name: &str) -> Failure {
    Failure::new(
        Kind::Submission,
        format!("cannot load {name}: it is a table, and no mapping says what its columns are"),
    )
    .mend(
        "name a mapping file with --mapping FILE, or put it next to the sheet and load their folder; \
         `bractline check --suggest FILE` drafts one",
    )
}
