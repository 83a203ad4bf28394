//! The classes of the alert's map as rules over the members of a map file, for its style files.
//!
//! Takes bounds, colours and words from the drawing, so that a viewer shows what the page shows.
//! Knows no viewer's syntax.

use crate::publish::classes::{Class, FILLS, LOWER_BOUNDS, NONE_FOUND_FILL};
use crate::publish::map_rows::status;
use crate::rollup::county_week::Cell;

/// How a class is found in a file and painted in a viewer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rule {
    pub(super) class: Class,
    /// Value of `status`.
    pub(super) status: &'static str,
    /// Half-open range of `median_pressure`, where the class has one; open above without an end.
    pub(super) median: Option<(f64, Option<f64>)>,
    /// Colour of the ground.
    pub(super) fill: &'static str,
    /// Marks on the ground, for the classes that say nothing of pressure.
    pub(super) marks: Option<Marks>,
}

/// What lies on the ground of a class that has no place on the scale, in the ink of the page's map.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Marks {
    Dots,
    Crosses,
    Lines,
}

/// One rule a class, in the order of the legend. Every feature of a file fits exactly one.
pub(super) fn rules() -> Vec<Rule> {
    Class::ALL.map(rule).into()
}

fn rule(class: Class) -> Rule {
    let plain = |cell, fill, marks| Rule {
        class,
        status: status(cell),
        median: None,
        fill,
        marks,
    };
    match class {
        Class::NoneFound => plain(Some(Cell::NoneFound), NONE_FOUND_FILL, None),
        Class::Median(place) => Rule {
            median: Some((LOWER_BOUNDS[place], LOWER_BOUNDS.get(place + 1).copied())),
            ..plain(Some(Cell::Pressure(0.0)), FILLS[place].0, None)
        },
        Class::TooFewFields => plain(Some(Cell::Suppressed), "#ececec", Some(Marks::Dots)),
        Class::OutsideStage => plain(Some(Cell::OutsideStage), "#ffffff", Some(Marks::Crosses)),
        Class::NoVisits => plain(None, "#ffffff", Some(Marks::Lines)),
    }
}
