//! What the tests share: a workspace in a temporary folder, the program as a user runs it, valid visits to
//! bend, and what several modules of tests need.

mod accounts;
pub mod care;
pub mod cli;
pub mod dispersion;
pub mod export;
mod folders;
pub mod generated;
pub mod held_desk;
pub mod hostile;
pub mod hostile_text;
pub mod identity;
pub mod in_process;
pub mod inbox;
pub mod intake;
pub mod issuing;
pub mod map_files;
pub mod mapping;
pub mod mapping_fields;
pub mod maps;
pub mod mended;
pub mod plan;
pub mod privacy;
pub mod publish;
pub mod published;
pub mod publishing;
pub mod region;
mod run;
pub mod scenario;
pub mod schema;
pub mod sheet;
pub mod snapshots;
pub mod stages;
mod tables;
pub mod thresholds;
pub mod trend;
pub mod undo_model;
mod visits;
pub mod week_rows;
mod workspace;

pub use accounts::{Counts, assert_adds_up, counts, received};
pub use folders::{assert_private, contents, everything, folder_bytes, mode, text_of};
pub use run::{Run, bractline, program};
pub use tables::{IDENTITY, LOOK, Row, csv_rows, docs};
pub use visits::{full_visit, lines, visit};
pub use workspace::TestWorkspace;
