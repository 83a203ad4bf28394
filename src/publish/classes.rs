//! The classes of pressure: bounds, colours and words, the same every week, so that two maps compare.

use crate::rollup::county_week::Cell;

/// How a county is painted. The order is that of the legend.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Class {
    /// Visited, and nothing found in any field.
    NoneFound,
    /// Something found; the place of the median in [`LOWER_BOUNDS`].
    Median(usize),
    /// Suppressed.
    TooFewFields,
    /// All visits outside the stage window.
    OutsideStage,
    /// No row.
    NoVisits,
}

/// Lower bounds of the classes of the median pressure, each class half-open: a median of exactly 1
/// is at threshold and belongs to the upper class.
pub const LOWER_BOUNDS: [f64; 6] = [0.0, 0.25, 0.5, 0.75, 1.0, 1.5];

/// Fill and ink of each class of the median: six even steps of cividis from light to dark (Nuñez,
/// Anderton and Renslow 2018, PLOS ONE 13(7): e0199239; values as matplotlib 3.11 gives them). Its
/// lightness falls evenly, so that the order survives colour blindness and grey print. The ink is
/// black or white, whichever contrasts with the fill by 4.5 to 1 or more.
pub const FILLS: [(&str, &str); 6] = [
    ("#fee838", "#000"),
    ("#c8b866", "#000"),
    ("#948e77", "#000"),
    ("#666970", "#fff"),
    ("#35456c", "#fff"),
    ("#00224e", "#fff"),
];

pub(super) const NONE_FOUND_FILL: &str = "#fffdf0";
pub(super) const INK: &str = "#000";
pub(super) const BORDER: &str = "#555";

impl Class {
    /// Every class, in the order of the legend.
    pub const ALL: [Class; 10] = [
        Class::NoneFound,
        Class::Median(0),
        Class::Median(1),
        Class::Median(2),
        Class::Median(3),
        Class::Median(4),
        Class::Median(5),
        Class::TooFewFields,
        Class::OutsideStage,
        Class::NoVisits,
    ];

    /// The class of a county; `None` for one without a row.
    pub fn of(cell: Option<Cell>) -> Class {
        match cell {
            None => Class::NoVisits,
            Some(Cell::Suppressed) => Class::TooFewFields,
            Some(Cell::OutsideStage) => Class::OutsideStage,
            Some(Cell::NoneFound) => Class::NoneFound,
            Some(Cell::Pressure(median)) => {
                let above = |bound: &f64| median >= *bound;
                Class::Median(LOWER_BOUNDS.iter().rposition(above).unwrap_or_default())
            }
        }
    }

    /// Whether the median is at or above threshold.
    pub fn at_threshold(self) -> bool {
        matches!(self, Class::Median(place) if LOWER_BOUNDS[place] >= 1.0)
    }

    /// The class in words.
    pub fn words(self) -> &'static str {
        match self {
            Class::NoneFound => "nothing found",
            Class::Median(0) => "some found, median under 0.25",
            Class::Median(1) => "0.25 to under 0.5",
            Class::Median(2) => "0.5 to under 0.75",
            Class::Median(3) => "0.75 to under 1",
            Class::Median(4) => "1 to under 1.5: at or above threshold",
            Class::Median(_) => "1.5 or more: at or above threshold",
            Class::TooFewFields => "too few fields to show",
            Class::OutsideStage => "all fields outside the stage window",
            Class::NoVisits => "no visits",
        }
    }

    pub(super) fn fill(self) -> &'static str {
        match self {
            Class::NoneFound => NONE_FOUND_FILL,
            Class::Median(place) => FILLS[place].0,
            Class::TooFewFields => "url(#map-too-few-fields)",
            Class::OutsideStage => "url(#map-outside-stage)",
            Class::NoVisits => "url(#map-no-visits)",
        }
    }

    pub(super) fn ink(self) -> &'static str {
        match self {
            Class::Median(place) => FILLS[place].1,
            _ => INK,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn class_of(median: f64) -> Class {
        Class::of(Some(Cell::Pressure(median)))
    }

    #[test]
    fn classes_are_half_open_and_one_is_at_threshold() {
        for (median, place) in [
            (0.0, 0),
            (0.249_999_999_9, 0),
            (0.25, 1),
            (0.5, 2),
            (0.75, 3),
            (0.999_999_999_9, 3),
            (1.0, 4),
            (1.499_999_999_9, 4),
            (1.5, 5),
            (1e9, 5),
        ] {
            assert_eq!(class_of(median), Class::Median(place), "{median}");
            assert_eq!(class_of(median).at_threshold(), median >= 1.0, "{median}");
        }
        assert_eq!(Class::of(Some(Cell::NoneFound)), Class::NoneFound);
        assert_eq!(Class::of(Some(Cell::Suppressed)), Class::TooFewFields);
        assert_eq!(Class::of(Some(Cell::OutsideStage)), Class::OutsideStage);
        assert_eq!(Class::of(None), Class::NoVisits);
    }

    /// Relative luminance and contrast as WCAG 2.2 defines them.
    fn luminance(colour: &str) -> f64 {
        let digits = &colour[1..];
        let channel = |place: usize| {
            let hex = match digits.len() {
                3 => digits[place..=place].repeat(2),
                _ => digits[2 * place..2 * place + 2].to_owned(),
            };
            let value = f64::from(u8::from_str_radix(&hex, 16).expect("a colour")) / 255.0;
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
        let fills = std::iter::once(NONE_FOUND_FILL).chain(FILLS.map(|(fill, _)| fill));
        let lightness: Vec<f64> = fills.map(luminance).collect();
        assert!(
            lightness.windows(2).all(|pair| pair[0] > pair[1] + 0.01),
            "{lightness:?}"
        );
        for (fill, ink) in FILLS {
            assert!(contrast(fill, ink) >= 4.5, "{ink} on {fill}");
        }
        assert!(contrast(NONE_FOUND_FILL, INK) >= 4.5);
        // WCAG 2.2, 1.4.11, for the border against the paper and the lightest fill.
        assert!(contrast(BORDER, "#fff") >= 3.0 && contrast(BORDER, FILLS[0].0) >= 3.0);
    }
}
