//! The classes by which maps, legends and words distinguish public rows: colors, bounds, words. One place, so that a
//! county is never one class in color and another in words.

use std::collections::BTreeSet;

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
    /// Too few fields for a class; none of them is at threshold.
    NoneAtThreshold,
    /// Too few fields for a class; at least one of them is at threshold.
    SomeAtThreshold,
    /// All visits at another crop stage.
    OtherStage,
    /// No row: not visited, or too few fields to publish. The two look the same.
    NoFigures,
}

/// One class of the median, with its color. The ink is black or white, whichever contrasts with the fill by 4.5 to 1
/// or more.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Lower bound, included: a median of exactly 1 is at threshold and belongs to the upper class.
    pub from: f64,
    /// Upper bound, not included.
    pub below: Option<f64>,
    /// Its color.
    pub fill: &'static str,
    /// The color of what is written on it.
    pub ink: &'static str,
    /// The class in words, of fields and thresholds.
    pub words: &'static str,
    /// The same in few characters, for a chart.
    pub short: &'static str,
}

/// Six even steps of cividis from light to dark (Nuñez, Anderton and Renslow 2018, PLOS ONE 13(7): e0199239; values as
/// matplotlib 3.11 gives them). Its lightness falls evenly, so that the order survives color blindness and gray print.
pub(crate) const FILLS: [(&str, &str); 6] = [
    ("#fee838", "#000"),
    ("#c8b866", "#000"),
    ("#948e77", "#000"),
    ("#666970", "#fff"),
    ("#35456c", "#fff"),
    ("#00224e", "#fff"),
];

const fn band(
    from: f64,
    below: Option<f64>,
    fill: usize,
    words: &'static str,
    short: &'static str,
) -> Band {
    Band {
        from,
        below,
        fill: FILLS[fill].0,
        ink: FILLS[fill].1,
        words,
        short,
    }
}

const SURVEY: [Band; 5] = [
    band(
        0.0,
        Some(0.25),
        0,
        "some found, median under 0.25",
        "under 0.25",
    ),
    band(0.25, Some(0.5), 1, "0.25 to under 0.5", "0.25 to <0.5"),
    band(0.5, Some(1.0), 2, "0.5 to under 1", "0.5 to <1"),
    band(
        1.0,
        Some(1.5),
        4,
        "1 to under 1.5: at or above threshold",
        "1 to <1.5",
    ),
    band(
        1.5,
        None,
        5,
        "1.5 or more: at or above threshold",
        "1.5 or more",
    ),
];

/// Classes of few fields, which are wider, and those of many; a wide one has the color of its upper half.
const STRICT: [Band; 6] = [
    band(
        0.0,
        Some(0.25),
        0,
        "many fields, median under 0.25",
        "under 0.25",
    ),
    band(
        0.0,
        Some(0.5),
        1,
        "some found, median under 0.5",
        "under 0.5",
    ),
    band(
        0.25,
        Some(0.5),
        2,
        "many fields, 0.25 to under 0.5",
        "0.25 to <0.5",
    ),
    band(
        0.5,
        Some(1.0),
        3,
        "many fields, 0.5 to under 1",
        "0.5 to <1",
    ),
    band(
        0.5,
        None,
        4,
        "0.5 or more: below or above threshold",
        "0.5 or more",
    ),
    band(
        1.0,
        None,
        5,
        "many fields, 1 or more: at or above threshold",
        "1 or more",
    ),
];

/// The classes of the median that a level has, from low to high.
pub fn bands(level: Level) -> &'static [Band] {
    match level {
        Level::Survey => &SURVEY,
        Level::Strict => &STRICT,
    }
}

/// The levels of these rows, whose classes a legend has; `survey` where there is no row.
pub(crate) fn levels_of<'a>(rows: impl IntoIterator<Item = &'a PublicRow>) -> Vec<Level> {
    let levels: BTreeSet<Level> = rows.into_iter().map(|row| row.level).collect();
    match levels.is_empty() {
        true => vec![Level::Survey],
        false => levels.into_iter().collect(),
    }
}

impl Band {
    /// The bounds in words: `under 0.25`, `0.25 to under 0.5`, `1.5 or more`.
    pub(crate) fn bounds_in_words(&self) -> String {
        bounds_in_words(self.from, self.below)
    }
}

/// The bounds of a class of pressures in words: `under 0.25`, `0.25 to under 0.5`, `1.5 or more`.
pub(crate) fn bounds_in_words(from: f64, below: Option<f64>) -> String {
    match below {
        Some(below) if from == 0.0 => format!("under {below}"),
        Some(below) => format!("{from} to under {below}"),
        None => format!("{from} or more"),
    }
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

const NOTHING_FOUND_FILL: &str = "#fffdf0";
/// A gray between the first two steps of the scale, so that it is no step of it in gray print either.
const NO_FIGURES_FILL: &str = "#d0d0d0";
/// The ground under marks.
const MARKED_GROUND: &str = "#fff";
pub(crate) const INK: &str = "#000";
pub(crate) const BORDER: &str = "#555";

impl Class {
    /// Every class of a level, in the order of the legend.
    pub fn all(level: Level) -> Vec<Class> {
        Class::legend(&[level])
    }

    /// Every class of these levels, in the order of the legend: rows of a week may differ in their level where the
    /// setting was changed.
    pub(crate) fn legend(levels: &[Level]) -> Vec<Class> {
        let medians = levels
            .iter()
            .flat_map(|level| (0..bands(*level).len()).map(|place| Class::Median(*level, place)));
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
        // Every class of a row is a band; the lower bound finds that of a row whose classes are not used any more.
        let at_or_below = || bands.iter().rposition(|band| band.from <= class.from);
        let place = bands.iter().position(same).or_else(at_or_below);
        Class::Median(level, place.unwrap_or_default())
    }

    /// Its colors and bounds, if it is one of the median.
    pub fn band(self) -> Option<&'static Band> {
        match self {
            Class::Median(level, place) => bands(level).get(place),
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
            Class::Median(..) => "median",
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
            Class::Median(..) => self.band().map_or("", |band| band.words),
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
            Class::NothingFound | Class::Median(..) | Class::NoFigures => self.ground(),
        }
    }

    /// Its color, under the marks if it has any.
    pub(crate) fn ground(self) -> &'static str {
        match self {
            Class::NothingFound => NOTHING_FOUND_FILL,
            Class::Median(..) => self.band().map_or(NOTHING_FOUND_FILL, |band| band.fill),
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
            Class::NothingFound | Class::Median(..) | Class::NoFigures => None,
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
        for (level, classes) in [(Level::Survey, 5), (Level::Strict, 6)] {
            let mut seen = BTreeSet::new();
            for (fields, hundredths) in [5, 10]
                .into_iter()
                .flat_map(|n| (1..300).map(move |p| (n, p)))
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
    fn bounds_read_as_one_says_them() {
        let words = [0, 1, 4].map(|place| SURVEY[place].bounds_in_words());
        assert_eq!(words, ["under 0.25", "0.25 to under 0.5", "1.5 or more"]);
    }

    /// Relative luminance and contrast as WCAG 2.2 defines them.
    fn luminance(color: &str) -> f64 {
        let digits = &color[1..];
        let channel = |place: usize| {
            let hex = match digits.len() {
                3 => digits[place..=place].repeat(2),
                _ => digits[2 * place..2 * place + 2].to_owned(),
            };
            let value = f64::from(u8::from_str_radix(&hex, 16).expect("a color")) / 255.0;
            match value <= 0.04045 {
                true => value / 12.92,
                false => ((value + 0.055) / 1.055).powf(2.4),
            }
        };
        0.2126 * channel(0) + 0.7152 * channel(1) + 0.0722 * channel(2)
    }

    fn contrast(one: &str, other: &str) -> f64 {
        let (one, other) = (luminance(one), luminance(other));
        (one.max(other) + 0.05) / (one.min(other) + 0.05)
    }

    #[test]
    fn the_scale_darkens_step_by_step_and_names_can_be_read_on_it() {
        let fills = std::iter::once(NOTHING_FOUND_FILL).chain(FILLS.map(|(fill, _)| fill));
        let lightness: Vec<f64> = fills.map(luminance).collect();
        assert!(
            lightness.windows(2).all(|pair| pair[0] > pair[1] + 0.01),
            "{lightness:?}"
        );
        for (fill, ink) in FILLS {
            assert!(contrast(fill, ink) >= 4.5, "{ink} on {fill}");
        }
        for fill in [NOTHING_FOUND_FILL, NO_FIGURES_FILL] {
            assert!(contrast(fill, INK) >= 4.5, "{fill}");
        }
        // WCAG 2.2, 1.4.11, for the border against the paper and the lightest fill.
        assert!(contrast(BORDER, "#fff") >= 3.0 && contrast(BORDER, FILLS[0].0) >= 3.0);
    }
}
