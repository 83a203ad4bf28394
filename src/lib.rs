//! From field scouts' visit records to a weekly regional pest alert.
//!
//! The data goes one way:
//!
//! ```text
//! submissions → intake → store (pipeline/stages/*.sql) → disclosure → features → files for people
//! ```
//!
//! # The crates below
//!
//! They know no command, no workspace and no page; what each may import is in its `Cargo.toml`.
//!
//! - [`stats`]: statistics of counts, samples and trends. Knows nothing of ours.
//! - [`scouting`]: the record of a visit and its rules; protocols, phenology, regions; the error that stops a run.
//! - [`disclosure`]: which rows of field results may be public.
//! - [`intake`]: a submission read, cut into records, each judged.
//! - [`store`]: Delta tables of Parquet files, and the SQL stages over one version of them, to field-weeks, county-weeks
//!   and public tables. A submission counts once its receipt is committed.
//!
//! # The features
//!
//! A feature is a folder: its application code, its pages and its files. It takes plain options and returns what it
//! did; it knows no flag and asks no clock. It may import the crates and the features of the levels above it in this
//! table, never one of its own level:
//!
//! | level | folder | job |
//! |--|--|--|
//! | 0 | [`shared`] | files, tables, numbers, days, names, pieces of pages and maps |
//! | 1 | [`workspace`] | the folder of an office: its settings, and what it opens |
//! | 2 | [`figures`] | a workspace rolled up, with the public rows, as tables and maps |
//! | 2 | [`load`] | submissions into the store, with an account of each |
//! | 2 | [`held`] | records that could not be accepted, on their way back to their senders |
//! | 2 | [`count_sheet`] | sheets for scouts to fill |
//! | 2 | [`gate`] | the last check of finished files before they are public |
//! | 2 | [`protocols`] | the catalog for its readers |
//! | 3 | [`submissions`] | what was loaded: listed, and taken back |
//! | 3 | [`visits`] | one visit: shown, and changed by a next revision |
//! | 3 | [`senders`] | who reported and who has not, letters to them, their figures; private |
//! | 3 | [`seasons`] | seasons compared, and their trends |
//! | 3 | [`plan`] | how many sites a field needs, how far in from its edge to look, and its threshold by cost and price |
//! | 3 | [`scenario`] | what would follow under other economics; private |
//! | 4 | [`alert`] | the alert of a week: built, issued, corrected, withdrawn, published |
//! | 5 | [`export`] | packages for researchers |
//! | 6 | [`demo`] | an invented region, played from its submissions to its alert |
//! | 7 | [`cli`] | one file a command: flags → options → one call → print |

#![warn(unreachable_pub)]

pub mod alert;
pub mod cli;
pub mod count_sheet;
pub mod demo;
pub mod export;
pub mod figures;
pub mod gate;
pub(crate) mod held;
pub mod load;
pub mod plan;
pub(crate) mod protocols;
pub(crate) mod scenario;
pub mod seasons;
pub(crate) mod senders;
pub mod shared;
pub(crate) mod submissions;
pub(crate) mod visits;
pub(crate) mod workspace;
