//! The classes of the alert's map as rules over the members of a map file, for its style files.
//!
//! Takes bounds, colors and words from the drawing, so that a viewer shows what the page shows. Knows no viewer's
//! syntax.

use crate::shared::classes::{Class, Marks};
use crate::shared::count_words::CountWords;
use disclosure::median_class::MedianClass;

/// How a class is found in a file and painted in a viewer.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Rule {
    pub(crate) class: Class,
    /// Value of `status`.
    pub(crate) status: &'static str,
    /// Values of `level` and `median_class`, where the class is one of the median.
    pub(crate) median: Option<(&'static str, String)>,
    /// Color of the ground.
    pub(crate) fill: &'static str,
    /// Marks on the ground, for the classes that have no place on the scale.
    pub(crate) marks: Option<Marks>,
}

/// In words, what the thick outline says: rows whose `at_threshold_min` is above 0.
pub(crate) fn outlined(words: CountWords) -> String {
    words.said("thick outline: at least one field at threshold")
}

/// What a viewer shows of a protocol.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Named {
    /// Its title.
    pub title: String,
    /// How its texts name places and the level.
    pub words: CountWords,
}

/// The member of a file that says at least how many fields are at threshold.
pub(crate) const AT_THRESHOLD: &str = "at_threshold_min";

/// One rule a class, in the order of the legend. Every feature of a file fits exactly one.
pub(crate) fn rules(classes: &[Class]) -> Vec<Rule> {
    classes.iter().copied().map(rule).collect()
}

fn rule(class: Class) -> Rule {
    let median = match class.level() {
        Some(level) => class.band().map(|band| {
            let class = MedianClass {
                from: band.from,
                below: band.below,
                nothing_found: false,
            };
            (level.word(), class.word())
        }),
        None => None,
    };
    Rule {
        class,
        status: class.status(),
        median,
        fill: class.ground(),
        marks: class.marks(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use disclosure::rule::Level;

    #[test]
    fn no_two_rules_fit_the_same_row_even_where_levels_are_mixed() {
        let rules = rules(&Class::known(&[Level::Survey, Level::Strict]));
        assert_eq!(rules.len(), 18);
        for (place, one) in rules.iter().enumerate() {
            for other in &rules[..place] {
                let same = one.status == other.status && one.median == other.median;
                assert!(!same, "{one:?} and {other:?}");
            }
            let is_median = one.status == "median";
            assert_eq!(one.median.is_some(), is_median, "{one:?}");
        }
    }
}
