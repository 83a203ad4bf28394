//! The kind of level that a protocol's counts are compared with, as its source calls it, and what a count at that
//! level can decide. The two are kept apart: a fixed action threshold of a trap decides no treatment.

use std::fmt;

use serde::{Deserialize, Serialize};

/// What the source of a threshold calls it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum ThresholdKind {
    /// Computed so that loss and cost are equal there.
    #[serde(rename = "economic injury level")]
    EconomicInjuryLevel,
    /// Where to act, before loss and cost are equal.
    #[serde(rename = "economic threshold")]
    EconomicThreshold,
    /// Where practice acts, set by experience.
    #[serde(rename = "action threshold")]
    ActionThreshold,
    /// A class of a region's risk.
    #[serde(rename = "regional risk class")]
    RegionalRiskClass,
}

impl ThresholdKind {
    /// The name as files and pages have it.
    pub fn words(self) -> &'static str {
        match self {
            ThresholdKind::EconomicInjuryLevel => "economic injury level",
            ThresholdKind::EconomicThreshold => "economic threshold",
            ThresholdKind::ActionThreshold => "action threshold",
            ThresholdKind::RegionalRiskClass => "regional risk class",
        }
    }

    /// What the name means, a phrase after it. Economic injury level and economic threshold are kept apart as in
    /// Stern et al. 1959, Hilgardia 29(2):81-101 (citation from memory).
    pub fn meaning(self) -> &'static str {
        match self {
            ThresholdKind::EconomicInjuryLevel => {
                "the density at which the loss equals the cost of treatment; an economic threshold, at which to act, is \
                 lower"
            }
            ThresholdKind::EconomicThreshold => {
                "the density at which to act, before the loss equals the cost of treatment"
            }
            ThresholdKind::ActionThreshold => {
                "the density at which practice acts, set by experience and not computed from loss and cost"
            }
            ThresholdKind::RegionalRiskClass => {
                "a class of the risk of a region; it is no threshold for any field"
            }
        }
    }
}

impl fmt::Display for ThresholdKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}

/// What a count at its level can decide.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Decision {
    /// Whether to consider treating this field.
    #[default]
    Field,
    /// Whether to scout this field's plants; nothing about treating it.
    Scout,
    /// How great the risk of a region is, and nothing about any field.
    Region,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_kind_is_written_as_it_is_named() {
        for kind in [
            ThresholdKind::EconomicInjuryLevel,
            ThresholdKind::EconomicThreshold,
            ThresholdKind::ActionThreshold,
            ThresholdKind::RegionalRiskClass,
        ] {
            let written = serde_json::to_string(&kind).expect("text");
            assert_eq!(written, format!("\"{kind}\""));
        }
    }
}
