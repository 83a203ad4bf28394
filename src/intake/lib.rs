//! From the bytes of a submission to visits, each accepted as valid or with the findings that hold it.
//!
//! [`read`] opens a file by its content and cuts it into raw records; [`workbook`] opens spreadsheets within limits. Rows of
//! a table become records by a [`mapping`], by the layout of our own [`count_sheet`], or as [`corrections`] of records that
//! were on hold. [`judge`] says of each record whether it is valid, and in which county. Whether a visit is new, a duplicate
//! or in conflict with a stored one is decided where the store is known.

#![warn(unreachable_pub)]

pub mod corrections;
pub mod count_sheet;
pub mod judge;
pub mod mapping;
pub mod read;
pub mod sheet;
pub mod workbook;
