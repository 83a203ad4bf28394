//! What several features need: files that are written whole, words for numbers, days and names, tables, and the parts of
//! pages and maps. It knows no feature.

pub(crate) mod cautions;
pub(crate) mod chart;
pub mod classes;
pub mod count_words;
pub mod files;
pub(crate) mod fonts;
pub(crate) mod geo_columns;
pub(crate) mod map_frame;
pub(crate) mod markdown;
pub(crate) mod outline;
pub(crate) mod page;
pub(crate) mod passages;
pub(crate) mod report;
pub(crate) mod shown_days;
pub(crate) mod shown_names;
pub mod shown_numbers;
pub mod table_files;
pub mod tables;
pub mod unseen;
