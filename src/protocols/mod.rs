//! The catalog of protocols for its readers: listed, shown, and held to its sources.

pub(crate) mod check;
pub(crate) mod json;
pub(crate) mod text;

use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::{Catalogue, Protocol};

/// The protocol with an id.
///
/// # Errors
/// A [`Failure`] that names the protocols that there are.
pub(crate) fn named<'a>(catalogue: &'a Catalogue, id: &str) -> Result<&'a Protocol, Failure> {
    catalogue.protocol(id).ok_or_else(|| {
        Failure::new(Kind::Protocol, format!("no protocol {id:?}"))
            .mend(format!("the catalog has {}", catalogue.ids()))
    })
}
