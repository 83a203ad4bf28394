//! How texts name the level that counts are compared with, and the places where they are taken. A count that decides
//! about a field is at its threshold; one that grades a risk, as a trap's catch does, is at a risk level, and no text
//! speaks of treating after it.

use scouting::protocol::catalogue::{Decision, Protocol};

/// The words of a protocol's counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CountWords {
    /// Fields, each at or below its threshold.
    Threshold,
    /// Survey sites, each at or below a risk level.
    Risk,
    /// Both, in a text about counts of several protocols.
    Either,
}

impl CountWords {
    /// The words of a protocol.
    pub fn of(protocol: &Protocol) -> CountWords {
        match protocol.decision {
            Decision::Field => CountWords::Threshold,
            Decision::Scout | Decision::Region => CountWords::Risk,
        }
    }

    /// The words of several protocols together.
    pub(crate) fn of_all<'a>(protocols: impl IntoIterator<Item = &'a Protocol>) -> CountWords {
        let mut all = protocols.into_iter().map(CountWords::of);
        let first = all.next().unwrap_or(CountWords::Either);
        match all.all(|words| words == first) {
            true => first,
            false => CountWords::Either,
        }
    }

    /// `threshold`.
    pub fn level(self) -> &'static str {
        match self {
            CountWords::Threshold => "threshold",
            CountWords::Risk => "risk level",
            CountWords::Either => "threshold or risk level",
        }
    }

    /// The same in a sentence: `threshold`, `the risk level`.
    pub fn the_level(self) -> &'static str {
        match self {
            CountWords::Threshold => "threshold",
            CountWords::Risk => "the risk level",
            CountWords::Either => "threshold or risk level",
        }
    }

    /// `at threshold`.
    pub fn at(self) -> &'static str {
        match self {
            CountWords::Threshold => "at threshold",
            CountWords::Risk => "at the risk level",
            CountWords::Either => "at threshold or risk level",
        }
    }

    /// `field`.
    pub fn one(self) -> &'static str {
        match self {
            CountWords::Threshold | CountWords::Either => "field",
            CountWords::Risk => "survey site",
        }
    }

    /// `fields`.
    pub fn several(self) -> &'static str {
        match self {
            CountWords::Threshold | CountWords::Either => "fields",
            CountWords::Risk => "survey sites",
        }
    }

    /// A sentence of the program's own that is written for fields and thresholds, in these words. Not for texts that
    /// hold names.
    pub(crate) fn said(self, written: &str) -> String {
        match self {
            CountWords::Threshold => written.to_owned(),
            CountWords::Risk | CountWords::Either => written
                .replace("field", self.one())
                .replace("threshold", self.the_level()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_survey_has_sites_and_a_risk_level_and_no_threshold() {
        let written = "3 or 4 fields, 1 or more at threshold";
        assert_eq!(CountWords::Threshold.said(written), written);
        assert_eq!(
            CountWords::Risk.said(written),
            "3 or 4 survey sites, 1 or more at the risk level"
        );
        assert_eq!(
            CountWords::Either.said(written),
            "3 or 4 fields, 1 or more at threshold or risk level"
        );
    }

    #[test]
    fn counts_of_both_kinds_have_both_words() {
        let catalogue =
            scouting::protocol::catalogue::Catalogue::read(None, store::stages::expression::plan)
                .expect("the catalog");
        let of =
            |ids: &[&str]| CountWords::of_all(ids.iter().filter_map(|id| catalogue.protocol(id)));
        assert_eq!(of(&["bsm-eggs", "rssw"]), CountWords::Threshold);
        assert_eq!(
            of(&["sunflower-moth-traps", "bertha-armyworm-traps"]),
            CountWords::Risk
        );
        assert_eq!(
            of(&["bsm-eggs", "sunflower-moth-traps"]),
            CountWords::Either
        );
        assert_eq!(of(&[]), CountWords::Either);
    }
}
