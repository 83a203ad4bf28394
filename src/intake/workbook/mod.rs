//! Workbooks (XLSX, XLS, ODS), opened within limits of size and nesting.

mod cell;
pub(crate) mod compound;
mod looks;
pub(crate) mod markup;
pub(crate) mod ods_limits;
pub(crate) mod ods_spacing;
pub mod open;
pub(crate) mod package;
pub(crate) mod serial;
pub(crate) mod xls_limits;
pub(crate) mod xlsx_limits;
