//! The economic distance of a field as a page to print, for the field's owner: how far in from each side counts stay at
//! threshold. It computes nothing but presentation.

use askama::Template;

use crate::shared::cautions::OF_ONE_FIELD;
use crate::shared::passages::{Passage, cautions_in_short};
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::Protocol;

/// Why a distance is not a strip to spray. Standard practice; no published source.
pub(crate) const NO_STRIP_TO_SPRAY: &str = "A distance says where counts are at threshold by the protocol's relation; it is no strip to spray. Whether a part of \
    a field may be treated, with which drift and buffer distances, the product's label and local rules say.";

/// A site as the page shows it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct EdgeLine {
    /// Its number.
    pub(crate) site: u32,
    /// The side of the field, as the scout wrote it.
    pub(crate) side: String,
    /// Its mean count.
    pub(crate) mean: String,
    /// The mean divided by the field's threshold.
    pub(crate) pressure: String,
    /// How far in, such as `127 ft from the edge`.
    pub(crate) distance: String,
}

/// What the page says.
#[derive(Template)]
#[template(path = "edge.html", config = "src/shared/templates/askama.toml")]
pub(crate) struct EdgePage<'a> {
    pub(crate) protocol: &'a Protocol,
    pub(crate) field_id: &'a str,
    pub(crate) iso_week: &'a str,
    pub(crate) threshold: String,
    pub(crate) lines: Vec<EdgeLine>,
    /// The strips' area of the field's, in a sentence; `None` without an outline.
    pub(crate) area: Option<String>,
    pub(crate) notes: &'a [String],
    pub(crate) private: &'a str,
}

impl EdgePage<'_> {
    /// The page as HTML that needs no other file.
    ///
    /// # Errors
    /// A [`Failure`] if the template cannot be filled.
    pub(crate) fn html(&self) -> Result<String, Failure> {
        self.render().map_err(|error| {
            let what = "cannot write the page of the field's edge";
            Failure::because(Kind::Publish, what, error).at(&*self.protocol.id)
        })
    }

    fn caution(&self) -> &'static str {
        OF_ONE_FIELD
    }

    fn no_strip(&self) -> &'static str {
        NO_STRIP_TO_SPRAY
    }

    fn cautions(&self) -> Vec<Passage> {
        cautions_in_short(self.protocol)
    }
}
