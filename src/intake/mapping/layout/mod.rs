//! A sheet, laid out as its mapping says: which sheets of a file, header, columns, rows with their titles.

pub(in crate::mapping) mod columns;
pub(in crate::mapping) mod finder;
pub(in crate::mapping) mod joined;
pub(in crate::mapping) mod lay_out;
pub(in crate::mapping) mod rows;
pub(in crate::mapping) mod sheets;
pub(in crate::mapping) mod slices;
pub(in crate::mapping) mod table;
pub(in crate::mapping) mod turned;
pub(in crate::mapping) mod unmentioned;
