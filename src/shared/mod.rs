//! What several features need: files that are written whole, words for numbers, days and names, tables, and the parts of
//! pages and maps. It knows no feature.

pub mod cautions;
pub mod chart;
pub mod classes;
pub mod files;
pub mod geo_columns;
pub mod map_frame;
pub mod markdown;
pub mod outline;
pub mod page;
pub mod passages;
pub mod report;
pub mod shown_days;
pub mod shown_names;
pub mod shown_numbers;
pub mod table_files;
pub mod tables;
pub mod unseen;
