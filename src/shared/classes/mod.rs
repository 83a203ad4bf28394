//! The classes by which maps, legends and words distinguish public rows. One place, so that a county is never one class in
//! color and another in words.

mod bands;

use std::collections::BTreeSet;

pub(crate) use bands::{BORDER, INK, bounds_in_words};
pub use bands::{Band, bands};

use bands::{NO_FIGURES_FILL, NOTHING_FOUND_FILL, OF_EARLIER_ROW};

use super::count_words::CountWords;
use disclosure::median_class::MedianClass;
use disclosure::public_row::PublicRow;
use disclosure::rule::Level;

/// How a county is painted. The order is that of the legend.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Class {
    /// Visited, and nothing found in any field.
    NothingFound,
    /// The class of the median: its place in [`bands`] of a level.
    Median(Level, usize),
    /// A median of 1.5 or more in a row that was published before there was a class of 3 or more: such rows are kept as they
    /// were published, and who has one has this class in the legend.
    MedianOfEarlierRow,
    /// Too few fields for a class; none of them is at threshold.
    NoneAtThreshold,
    /// Too few fields for a class; at least one of them is at threshold.
    SomeAtThreshold,
    /// All visits at another crop stage.
    OtherStage,
    /// No row: not visited, or too few fields to publish. The two look the same.
    NoFigures,
}

/// What is drawn on the ground of a class that has no place on the scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Marks {
    /// Few small dots.
    Dots,
    /// Slanted lines.
    Lines,
    /// Upright crosses.
    Crosses,
}

/// The ground under marks.
const MARKED_GROUND: &str = "#fff";

/// The levels of these rows, whose classes a legend has; `survey` where there is no row.
pub(crate) fn levels_of<'a>(rows: impl IntoIterator<Item = &'a PublicRow>) -> Vec<Level> {
    let levels: BTreeSet<Level> = rows.into_iter().map(|row| row.level).collect();
    match levels.is_empty() {
        true => vec![Level::Survey],
        false => levels.into_iter().collect(),
    }
}

impl Class {
    /// The classes of the legend of these rows, in its order: all of their levels, or of `survey` where there is no row.
    pub(crate) fn legend_of<'a>(rows: impl IntoIterator<Item = &'a PublicRow>) -> Vec<Class> {
        let rows: Vec<&PublicRow> = rows.into_iter().collect();
        let mut classes = Class::known(&levels_of(rows.iter().copied()));
        let found = |class| rows.iter().any(|row| Class::of(Some(row)) == class);
        let earlier = found(Class::MedianOfEarlierRow);
        classes.retain(|class| earlier || *class != Class::MedianOfEarlierRow);
        classes
    }

    /// Every class that rows of these levels can have, in the order of the legend: rows of a week may differ in their
    /// level where the setting was changed.
    pub(crate) fn known(levels: &[Level]) -> Vec<Class> {
        let medians = levels.iter().flat_map(|level| {
            let bands = (0..bands(*level).len()).map(|place| Class::Median(*level, place));
            let earlier = (*level == Level::Survey).then_some(Class::MedianOfEarlierRow);
            bands.chain(earlier)
        });
        std::iter::once(Class::NothingFound)
            .chain(medians)
            .chain([
                Class::NoneAtThreshold,
                Class::SomeAtThreshold,
                Class::OtherStage,
                Class::NoFigures,
            ])
            .collect()
    }

    /// The class of a county; [`Class::NoFigures`] for one without a row.
    pub fn of(row: Option<&PublicRow>) -> Class {
        let Some(row) = row else {
            return Class::NoFigures;
        };
        match row.median {
            _ if row.fields_visited == 0 => Class::OtherStage,
            Some(class) => Class::of_median(row.level, &class),
            None if row.at_threshold[0] > 0 => Class::SomeAtThreshold,
            None => Class::NoneAtThreshold,
        }
    }

    /// The class of a median.
    pub(crate) fn of_median(level: Level, class: &MedianClass) -> Class {
        if class.nothing_found {
            return Class::NothingFound;
        }
        let bands = bands(level);
        let same = |band: &Band| band.from == class.from && band.below == class.below;
        if level == Level::Survey && same(&OF_EARLIER_ROW) {
            return Class::MedianOfEarlierRow;
        }
        // Every class of a row is a band; the lower bound finds that of a row whose classes are not used any more.
        let at_or_below = || bands.iter().rposition(|band| band.from <= class.from);
        let place = bands.iter().position(same).or_else(at_or_below);
        Class::Median(level, place.unwrap_or_default())
    }

    /// Its colors and bounds, if it is one of the median.
    pub fn band(self) -> Option<&'static Band> {
        match self {
            Class::Median(level, place) => bands(level).get(place),
            Class::MedianOfEarlierRow => Some(&OF_EARLIER_ROW),
            _ => None,
        }
    }

    /// The level whose rows have the class, if it is one of the median.
    pub(crate) fn level(self) -> Option<Level> {
        match self {
            Class::Median(level, _) => Some(level),
            Class::MedianOfEarlierRow => Some(Level::Survey),
            _ => None,
        }
    }

    /// Whether the median is at or above threshold.
    pub fn at_threshold(self) -> bool {
        self.band().is_some_and(|band| band.from >= 1.0)
    }

    /// Whether every county of the class has a field at threshold, and so the thick outline.
    pub(crate) fn is_outlined(self) -> bool {
        self.at_threshold() || self == Class::SomeAtThreshold
    }

    /// The word by which files distinguish the kinds of row.
    pub fn status(self) -> &'static str {
        match self {
            Class::NothingFound => "nothing-found",
            Class::Median(..) | Class::MedianOfEarlierRow => "median",
            Class::NoneAtThreshold => "none-at-threshold",
            Class::SomeAtThreshold => "some-at-threshold",
            Class::OtherStage => "other-stage",
            Class::NoFigures => "no-figures",
        }
    }

    /// The class in the words of the counts.
    pub fn words(self, words: CountWords) -> String {
        words.said(match self {
            Class::NothingFound => "nothing found",
            Class::Median(..) | Class::MedianOfEarlierRow => {
                self.band().map_or("", |band| band.words)
            }
            Class::NoneAtThreshold => "3 or 4 fields, none at threshold",
            Class::SomeAtThreshold => "3 or 4 fields, 1 or more at threshold",
            Class::OtherStage => "all fields at another crop stage",
            Class::NoFigures => "no figures: not visited, or too few fields to publish",
        })
    }

    /// What the class is painted with on a page that has the patterns of the map.
    pub(crate) fn fill(self) -> &'static str {
        match self {
            Class::NoneAtThreshold => "url(#map-none-at-threshold)",
            Class::SomeAtThreshold => "url(#map-some-at-threshold)",
            Class::OtherStage => "url(#map-other-stage)",
            Class::NothingFound
            | Class::Median(..)
            | Class::MedianOfEarlierRow
            | Class::NoFigures => self.ground(),
        }
    }

    /// Its color, under the marks if it has any.
    pub(crate) fn ground(self) -> &'static str {
        match self {
            Class::NothingFound => NOTHING_FOUND_FILL,
            Class::Median(..) | Class::MedianOfEarlierRow => {
                self.band().map_or(NOTHING_FOUND_FILL, |band| band.fill)
            }
            Class::NoneAtThreshold | Class::SomeAtThreshold | Class::OtherStage => MARKED_GROUND,
            Class::NoFigures => NO_FIGURES_FILL,
        }
    }

    /// The marks that set it off from the scale.
    pub(crate) fn marks(self) -> Option<Marks> {
        match self {
            Class::NoneAtThreshold => Some(Marks::Dots),
            Class::SomeAtThreshold => Some(Marks::Lines),
            Class::OtherStage => Some(Marks::Crosses),
            Class::NothingFound
            | Class::Median(..)
            | Class::MedianOfEarlierRow
            | Class::NoFigures => None,
        }
    }

    pub(crate) fn ink(self) -> &'static str {
        self.band().map_or(INK, |band| band.ink)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use disclosure::invented;

    /// A row of so many fields, each of a farm of its own, all with this pressure.
    fn row_of(level: Level, fields: usize, pressure: f64) -> PublicRow {
        invented::row_of(&invented::fields(&vec![pressure; fields]), level)
    }

    /// The bands are those of disclosure control, whose bounds this asks for by making rows of fields.
    #[test]
    fn every_class_that_a_row_can_have_is_a_band_of_its_level() {
        for (level, classes) in [(Level::Survey, 6), (Level::Strict, 6)] {
            let mut seen = BTreeSet::new();
            for (fields, hundredths) in [5, 10]
                .into_iter()
                .flat_map(|n| (1..400).map(move |p| (n, p)))
            {
                let row = row_of(level, fields, f64::from(hundredths) / 100.0);
                let median = row.median.expect("five fields or more");
                let class = Class::of(Some(&row));
                let band = class.band().expect("a class of the median");
                assert_eq!((band.from, band.below), (median.from, median.below));
                assert!(!class.is_outlined() || row.at_threshold[0] > 0, "{row:?}");
                seen.insert(median.word());
            }
            assert_eq!(seen.len(), classes, "{seen:?}");
            let none = Class::of(Some(&row_of(level, 5, 0.0)));
            assert_eq!(none, Class::NothingFound);
        }
    }

    #[test]
    fn rows_without_a_class_are_told_apart_by_what_they_say() {
        let small = |pressure| row_of(Level::Survey, 3, pressure);
        assert_eq!(Class::of(Some(&small(0.9))), Class::NoneAtThreshold);
        assert_eq!(Class::of(Some(&small(1.0))), Class::SomeAtThreshold);
        let outside = PublicRow {
            fields_visited: 0,
            ..small(0.9)
        };
        assert_eq!(Class::of(Some(&outside)), Class::OtherStage);
        assert_eq!(Class::of(None), Class::NoFigures);
    }

    #[test]
    fn a_row_published_before_the_highest_class_keeps_what_it_said() {
        let mut row = row_of(Level::Survey, 5, 4.0);
        let [legend, known] = [Class::legend_of([&row]), Class::known(&[Level::Survey])];
        assert!(!legend.contains(&Class::MedianOfEarlierRow), "{legend:?}");
        row.median = Some(MedianClass {
            from: 1.5,
            below: None,
            nothing_found: false,
        });
        let class = Class::of(Some(&row));
        assert_eq!(class, Class::MedianOfEarlierRow);
        assert!(class.at_threshold() && class.status() == "median");
        assert_eq!(
            class.band().map(Band::bounds_in_words).as_deref(),
            Some("1.5 or more")
        );
        assert_eq!(Class::legend_of([&row]), known);
        assert_eq!(Class::legend_of([]), legend);
    }
}
