//! Held records: listed, and sent back to their senders as spreadsheets and letters.

pub(crate) mod correction_sheet;
pub(crate) mod desk;
pub(crate) mod groups;
pub(crate) mod letter;
pub(crate) mod plain_columns;
pub(crate) mod record;
pub(crate) mod returned;
pub(crate) mod rows;
pub(crate) mod sheet;
