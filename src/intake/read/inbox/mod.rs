//! What is in a folder that an office loads: what each file is, what is packed in it, and by which mapping it is read.

pub mod archive;
pub mod fitting_mapping;
pub mod inner_file;
pub mod mail;
pub mod no_records;
pub mod sorting;
