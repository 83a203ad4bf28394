//! The place of a public row: a county, the rest of a district, or the rest of the region.

use serde::{Deserialize, Serialize};

/// Where the fields of a row are. Rows of one week and protocol have no field in common.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Place {
    /// A county, by its id.
    County(String),
    /// Elsewhere in a district: fields of its counties that are in no row of a county.
    District(String),
    /// Elsewhere in the region: fields that are in no other row.
    Region,
}

impl Place {
    /// The county's id, if it is one.
    pub fn county(&self) -> Option<&str> {
        match self {
            Place::County(id) => Some(id),
            Place::District(_) | Place::Region => None,
        }
    }

    /// The name of a place that is no county; the county's id otherwise.
    pub fn in_words(&self) -> String {
        match self {
            Place::County(id) => id.clone(),
            Place::District(name) => format!("elsewhere in {name}"),
            Place::Region => "elsewhere in the region".to_owned(),
        }
    }
}
