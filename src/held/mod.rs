//! Held records: listed, and sent back to their senders as spreadsheets and letters.

pub mod correction_sheet;
pub mod desk;
pub mod groups;
pub mod letter;
pub mod plain_columns;
pub mod record;
pub mod returned;
pub mod row_text;
pub mod rows;
pub mod sheet;
