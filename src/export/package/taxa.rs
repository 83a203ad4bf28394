//! The pest of a protocol as Darwin Core names it. No name comes from here: all are the protocols'.

use super::package_file::one_line;
use scouting::protocol::catalogue::Protocol;

/// The scientific name with its author.
pub(super) fn scientific_name(protocol: &Protocol) -> String {
    one_line(protocol.scientific_name())
}

/// What the protocol's file says in addition to the name, such as the current combination; empty if nothing.
pub(super) fn taxon_remarks(protocol: &Protocol) -> String {
    match protocol.pest == protocol.scientific_name() {
        true => String::new(),
        false => one_line(&protocol.pest),
    }
}

/// The name that is current today; empty where it is the scientific name itself, or is not stated.
pub(super) fn current_name(protocol: &Protocol) -> String {
    protocol
        .current_name
        .as_deref()
        .map_or(String::new(), one_line)
}

/// Address of the taxon in an open list of names; empty if nobody looked it up.
pub(super) fn taxon_id(protocol: &Protocol) -> String {
    protocol.taxon_id.as_deref().map_or(String::new(), one_line)
}

/// The life stage that is counted; empty if it is not stated.
pub(super) fn life_stage(protocol: &Protocol) -> String {
    let stage = protocol.life_stage;
    stage.map_or(String::new(), |stage| stage.word().to_owned())
}

/// Whether the count is of single animals or eggs: the share of plants with some is none.
pub(super) fn counts_individuals(protocol: &Protocol) -> bool {
    protocol.sample.each_count_at_most.is_none()
}
