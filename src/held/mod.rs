//! Held records: listed, and sent back to their senders as spreadsheets and letters.

pub mod correction_sheet;
pub mod letter;
pub mod plain_columns;
pub mod returned;
pub mod row_text;
pub mod rows;
pub mod sheet;
