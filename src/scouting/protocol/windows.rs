//! The two windows of a protocol, kept apart: the crop stages in which counts are taken, and those in which treatment
//! works. A count may be valid too early to decide by, or too late to act on.

use serde::{Deserialize, Serialize};

use crate::visit::stage::Stage;

/// The crop stages in which the count means something, both included.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StageWindow {
    /// First stage.
    pub first: String,
    /// Last stage.
    pub last: String,
    /// The stage at which a count that was taken earlier is due again; none where every count of the window is as good.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub recount_at: Option<String>,
    /// Where the window comes from.
    pub source: String,
    /// The stages of the crop in the order of growth, where it is not sunflower.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scale: Option<Vec<String>>,
}

/// The crop stages in which treatment works, both included.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TreatmentStages {
    /// First stage.
    pub first: String,
    /// Last stage.
    pub last: String,
    /// Where they come from.
    pub source: String,
}

/// Where counts of the window are early or late, as places on the common order of stages.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct CountTiming {
    /// First and last place of the window.
    pub window: (i32, i32),
    /// A count that ends before this place is due again there.
    pub recount_from: Option<i32>,
    /// A count that begins after this place comes too late for treatment.
    pub treated_until: Option<i32>,
}

impl CountTiming {
    /// Whether a count within the window is so early that it is due again.
    pub fn is_early(&self, stage: Stage) -> bool {
        self.is_within(stage)
            && self
                .recount_from
                .is_some_and(|from| stage.last_place() < from)
    }

    /// Whether a count within the window comes after the stages in which treatment works.
    pub fn is_late(&self, stage: Stage) -> bool {
        self.is_within(stage)
            && self
                .treated_until
                .is_some_and(|until| stage.first_place() > until)
    }

    fn is_within(&self, stage: Stage) -> bool {
        self.window.0 <= stage.first_place() && stage.last_place() <= self.window.1
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_count_is_early_before_the_recount_and_late_after_the_treatment() {
        let stage = |text: &str| Stage::parse(text).expect("a stage");
        let timing = CountTiming {
            window: (stage("R2").first_place(), stage("R5.6").last_place()),
            recount_from: Some(stage("R3").first_place()),
            treated_until: Some(stage("R5.4").last_place()),
        };
        for (text, early, late) in [
            ("R1", false, false),
            ("R2", true, false),
            ("R3", false, false),
            ("R5.4", false, false),
            ("R5.5", false, true),
            ("R5.6", false, true),
            ("R5.7", false, false),
        ] {
            let stage = stage(text);
            assert_eq!(
                (timing.is_early(stage), timing.is_late(stage)),
                (early, late),
                "{text}"
            );
        }
        let plain = CountTiming {
            recount_from: None,
            treated_until: None,
            ..timing
        };
        assert!(!plain.is_early(stage("R2")) && !plain.is_late(stage("R5.6")));
    }
}
