//! The classes of the median as the map has them: bounds, colors and words of each, and the colors of what has no place on
//! the scale.

use disclosure::rule::Level;

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

/// Steps of the scheme BuPu of ColorBrewer, from pale blue to dark purple (Harrower and Brewer 2003, The Cartographic
/// Journal 40(1): 27-37; its nine colors interpolated in sRGB). Below the threshold blue, from it on purple: the widest step
/// of the scale is at the threshold. Each pair is 10 or more apart in CAM02-UCS for protanopia, deuteranopia and
/// tritanopia too, and its lightness falls, so that the order survives color blindness and gray print.
const FILLS: [(&str, &str); 6] = [
    ("#b5cce2", "#000"),
    ("#97add2", "#000"),
    ("#8c8dc2", "#000"),
    ("#873c9a", "#fff"),
    ("#770c72", "#fff"),
    ("#4d004b", "#fff"),
];
/// Steps of the same scheme for classes that overlap: even ones, since two of them reach across the threshold.
const EVEN_FILLS: [(&str, &str); 6] = [
    ("#abc5df", "#000"),
    ("#91a1cc", "#000"),
    ("#8c78b7", "#000"),
    ("#8949a1", "#fff"),
    ("#7c0e77", "#fff"),
    ("#4d004b", "#fff"),
];

const fn band(
    from: f64,
    below: Option<f64>,
    (fill, ink): (&'static str, &'static str),
    words: &'static str,
    short: &'static str,
) -> Band {
    Band {
        from,
        below,
        fill,
        ink,
        words,
        short,
    }
}

const SURVEY: [Band; 6] = [
    band(
        0.0,
        Some(0.25),
        FILLS[0],
        "some found, median under 0.25",
        "under 0.25",
    ),
    band(
        0.25,
        Some(0.5),
        FILLS[1],
        "0.25 to under 0.5",
        "0.25 to <0.5",
    ),
    band(0.5, Some(1.0), FILLS[2], "0.5 to under 1", "0.5 to <1"),
    band(
        1.0,
        Some(1.5),
        FILLS[3],
        "1 to under 1.5: at or above threshold",
        "1 to <1.5",
    ),
    band(
        1.5,
        Some(3.0),
        FILLS[4],
        "1.5 to under 3: at or above threshold",
        "1.5 to <3",
    ),
    band(
        3.0,
        None,
        FILLS[5],
        "3 or more: at or above threshold",
        "3 or more",
    ),
];

/// The highest class of rows that were published before there was one of 3 or more.
pub(super) const OF_EARLIER_ROW: Band = band(
    1.5,
    None,
    FILLS[4],
    "1.5 or more (row of an earlier version): at or above threshold",
    "1.5 or more",
);

/// Classes of few fields, which are wider, and those of many; a wide one has the color of its upper half.
const STRICT: [Band; 6] = [
    band(
        0.0,
        Some(0.25),
        EVEN_FILLS[0],
        "many fields, median under 0.25",
        "under 0.25",
    ),
    band(
        0.0,
        Some(0.5),
        EVEN_FILLS[1],
        "some found, median under 0.5",
        "under 0.5",
    ),
    band(
        0.25,
        Some(0.5),
        EVEN_FILLS[2],
        "many fields, 0.25 to under 0.5",
        "0.25 to <0.5",
    ),
    band(
        0.5,
        Some(1.0),
        EVEN_FILLS[3],
        "many fields, 0.5 to under 1",
        "0.5 to <1",
    ),
    band(
        0.5,
        None,
        EVEN_FILLS[4],
        "0.5 or more: below or above threshold",
        "0.5 or more",
    ),
    band(
        1.0,
        None,
        EVEN_FILLS[5],
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

/// What a county is painted with where nothing was found.
pub(super) const NOTHING_FOUND_FILL: &str = "#fff";
/// A pale gray between white and the first step of the scale, so that it is no step of it in gray print either.
pub(super) const NO_FIGURES_FILL: &str = "#dcdcdc";
pub(crate) const INK: &str = "#000";
pub(crate) const BORDER: &str = "#555";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bounds_read_as_one_says_them() {
        let words = [0, 1, 5].map(|place| SURVEY[place].bounds_in_words());
        assert_eq!(words, ["under 0.25", "0.25 to under 0.5", "3 or more"]);
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
        for scale in [FILLS, EVEN_FILLS] {
            let grounds = [NOTHING_FOUND_FILL, NO_FIGURES_FILL].into_iter();
            let fills = grounds.chain(scale.map(|(fill, _)| fill));
            let lightness: Vec<f64> = fills.map(luminance).collect();
            assert!(
                lightness.windows(2).all(|pair| pair[0] > pair[1] + 0.01),
                "{lightness:?}"
            );
        }
        // The widest step of the scale is that from below the threshold to it.
        let steps: Vec<f64> = FILLS
            .windows(2)
            .map(|pair| contrast(pair[0].0, pair[1].0))
            .collect();
        assert!(steps.iter().all(|step| *step <= steps[2]), "{steps:?}");
        for (fill, ink) in FILLS.into_iter().chain(EVEN_FILLS) {
            assert!(contrast(fill, ink) >= 4.5, "{ink} on {fill}");
        }
        for fill in [NOTHING_FOUND_FILL, NO_FIGURES_FILL] {
            assert!(contrast(fill, INK) >= 4.5, "{fill}");
        }
        // WCAG 2.2, 1.4.11, for the border against the paper and the lightest fill.
        assert!(contrast(BORDER, "#fff") >= 3.0 && contrast(BORDER, FILLS[0].0) >= 3.0);
    }
}
