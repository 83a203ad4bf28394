//! The sheets of a submission that is a table, whatever its format.

use crate::mapping::Mapping;
use crate::read::json_table::read_json_table;
use crate::read::no_table::holds_our_records;
use crate::read::parquet_records::parquet_sheet;
use crate::read::submitted::{Form, SubmittedFile};
use crate::read::text_table::read_text_table;
use crate::sheet::table::Sheet;
use crate::workbook::open::{read_ods, read_xls, read_xlsx};
use scouting::failure::{Failure, Kind};

/// Reads a table-shaped submission: the one sheet of a text file or Parquet table, all those of a workbook, and another
/// program's JSON, in which a mapping says where the rows are.
///
/// # Errors
/// If it cannot be read whole: then nothing of it is handed on. Also for a submission of records,
/// which has no sheets.
pub fn read_sheets(file: &SubmittedFile, mapping: Option<&Mapping>) -> Result<Vec<Sheet>, Failure> {
    match file.form {
        Form::TextTable => read_text_table(file),
        Form::Xlsx => read_xlsx(&file.path, &file.name),
        Form::Xls => read_xls(&file.path, &file.name),
        Form::Ods => read_ods(&file.path, &file.name),
        Form::ParquetTable => Ok(vec![parquet_sheet(&file.path, &file.name)?]),
        Form::Ndjson | Form::Json if !holds_our_records(file)? => {
            let at = mapping.map(Mapping::json_rows).unwrap_or_default();
            Ok(vec![read_json_table(file, at)?])
        }
        Form::Ndjson | Form::Json | Form::ParquetRecords => Err(Failure::new(
            Kind::Submission,
            format!("cannot read sheets of {}: it holds records", file.name),
        )
        .mend("load it without a mapping")),
    }
}
