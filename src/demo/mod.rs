//! Invented data: a fictional landscape, its fields, three seasons of visits, and the mess in which
//! records really arrive.
//!
//! The command `demo`, the tests and the benchmarks take their input from here. Everything follows
//! from a seed; nothing here is a real place, farm, person or count, and nothing here knows the
//! store. Egg counts follow an assumed model (see [`eggs`]), so no figure that is computed from this
//! data says anything about a real insect.
//!
//! The way: [`landscape`] draws counties → [`places`] puts fields into county shapes (invented or
//! real) → [`fields`] says what a field is like → [`season`] scouts it → [`mess`] and [`broken`] say
//! what becomes of each record on its way → [`stream`] gives the lines one after the other, in flat
//! memory → [`files`] sorts them into files as a coordinator would get them.

mod borders;
pub(crate) mod broken;
pub(crate) mod calendar;
pub(crate) mod chance;
pub(crate) mod eggs;
pub(crate) mod fields;
pub(crate) mod files;
pub mod landscape;
pub(crate) mod mess;
pub(crate) mod options;
pub(crate) mod places;
pub(crate) mod play;
pub(crate) mod sample_line;
pub(crate) mod season;
pub(crate) mod stream;

pub use files::{DemoFiles, Submission, demo_files};
pub use landscape::Landscape;
pub use options::{MessShares, SampleOptions};
pub use sample_line::{Expected, ExpectedAccount, SampleLine};
pub use stream::SampleLines;
