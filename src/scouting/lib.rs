//! What a scout's visit means, without any store or engine: the record and its rules, the protocols, how a crop and its
//! pests develop, and the counties of a region.
//!
//! [`visit`] is the record of one scouting of one field. [`protocol`] says how a pest is counted and when treating pays.
//! [`phenology`] turns daily temperatures into the days of treatment. [`region`] says in which county a point is.
//! [`failure`] is what stops a run, [`plain_file`] reads a file that a person named.

#![warn(unreachable_pub)]

pub mod failure;
pub mod phenology;
pub mod plain_file;
pub mod protocol;
pub mod region;
pub mod visit;
