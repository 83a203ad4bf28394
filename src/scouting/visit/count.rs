//! One count of a record: what was counted on a unit or on a part of it.

use serde::{Deserialize, Deserializer, Serialize};

use super::reading::whole;

/// What is counted on a unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(transparent)]
pub struct Count(pub u32);

impl<'de> Deserialize<'de> for Count {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        whole(deserializer).map(Count)
    }
}
