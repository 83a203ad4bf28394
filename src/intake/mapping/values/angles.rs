//! A longitude or latitude as people write it: degrees, minutes and seconds, a letter for the hemisphere, or the
//! hemisphere that the mapping states.
//!
//! The half of the earth is given by a sign, a letter, or the mapping, once; without any of them it is north or east.

use std::sync::LazyLock;

use regex::Regex;

use crate::mapping::member::Quantity;
use crate::mapping::values::numbers::Fault;
use scouting::visit::code::Code;

/// How a mapping says that angles are written.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(in crate::mapping) struct AngleForm {
    /// Whether texts may have minutes and seconds, or a letter.
    pub dms: bool,
    /// The hemisphere of numbers without sign and letter.
    pub hemisphere: Option<Hemisphere>,
}

/// Half of the earth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::mapping) enum Hemisphere {
    North,
    South,
    East,
    West,
}

impl Hemisphere {
    /// The hemisphere of a letter, if it is one of the two of the quantity.
    pub(crate) fn of(letter: &str, quantity: Quantity) -> Option<Hemisphere> {
        match (letter.to_ascii_uppercase().as_str(), quantity) {
            ("N", Quantity::Latitude) => Some(Hemisphere::North),
            ("S", Quantity::Latitude) => Some(Hemisphere::South),
            ("E", Quantity::Longitude) => Some(Hemisphere::East),
            ("W", Quantity::Longitude) => Some(Hemisphere::West),
            _ => None,
        }
    }

    /// A size in degrees with the sign of the hemisphere.
    pub(crate) fn signed(self, size: f64) -> f64 {
        match self {
            Hemisphere::North | Hemisphere::East => size,
            Hemisphere::South | Hemisphere::West => -size,
        }
    }
}

static SEXAGESIMAL: LazyLock<Regex> = LazyLock::new(|| {
    Regex::new(concat!(
        r"(?i)^(?<first>[a-z])?\s*(?<sign>[+-])?\s*(?<degrees>[0-9]{1,3}(?:[.,][0-9]+)?)",
        r"(?:(?:\s*[°º:]\s*|\s*deg\.?\s*|\s+)(?<minutes>[0-9]{1,2}(?:[.,][0-9]+)?)",
        r"(?:(?:\s*['′’:]\s*|\s*min\.?\s*|\s+)(?<seconds>[0-9]{1,2}(?:[.,][0-9]+)?))?)?",
        r#"\s*(?:[°º'′’"″”]|''|′′|deg\.?|min\.?|sec\.?)?\s*(?<last>[a-z])?$"#,
    ))
    .expect("a pattern of ours compiles")
});

/// Reads degrees from text without spaces at its ends.
pub(in crate::mapping) fn read_dms(
    text: &str,
    quantity: Quantity,
    form: AngleForm,
) -> Result<f64, Fault> {
    let letters = match quantity {
        Quantity::Longitude => "E or W",
        _ => "N or S",
    };
    let fault = |expected: String| Fault::new(Code::AngleNotDecimal, expected);
    let text = text.replace('\u{2212}', "-");
    let Some(parts) = SEXAGESIMAL.captures(&text) else {
        return Err(fault(format!(
            "degrees, minutes and seconds with {letters}, as 100° 7' 30\" W or 45:15:00 N; or decimal degrees"
        )));
    };
    let written =
        ["degrees", "minutes", "seconds"].map(|name| parts.name(name).map(|part| part.as_str()));
    let size = size_of(written).ok_or_else(|| {
        fault("minutes and seconds below 60, and decimals in the last of them alone".to_owned())
    })?;
    let named = [parts.name("first"), parts.name("last")];
    let named: Vec<&str> = named
        .into_iter()
        .flatten()
        .map(|letter| letter.as_str())
        .collect();
    let sign = parts.name("sign").map(|sign| sign.as_str());
    match (named.as_slice(), sign, form.hemisphere) {
        ([], Some("-"), None) => Ok(-size),
        // As in decimal degrees: what has neither sign nor letter is north or east.
        ([], _, None) => Ok(size),
        ([], None, Some(stated)) => Ok(stated.signed(size)),
        ([letter], None, stated) => match Hemisphere::of(letter, quantity) {
            Some(own) if stated.is_none_or(|stated| stated == own) => Ok(own.signed(size)),
            _ => Err(fault(format!("the letter {letters}, as the mapping says"))),
        },
        ([], Some(_), Some(_)) => Err(fault(
            "no sign, since the mapping states the hemisphere".to_owned(),
        )),
        _ => Err(fault(format!("one sign or one letter, {letters}"))),
    }
}

/// The size of an angle in degrees; none if a part is too large, or one before the last has decimals.
fn size_of(written: [Option<&str>; 3]) -> Option<f64> {
    let mut size = 0.0;
    let last = written.iter().rposition(Option::is_some)?;
    for (place, part) in written.iter().enumerate().take(last + 1) {
        let text = (*part)?;
        let number: f64 = text.replace(',', ".").parse().ok()?;
        let is_sound =
            (place == last || !text.contains(['.', ','])) && (place == 0 || number < 60.0);
        if !is_sound {
            return None;
        }
        size += number / [1.0, 60.0, 3600.0][place];
    }
    Some(size)
}

#[cfg(test)]
mod tests {
    use super::*;

    const DMS: AngleForm = AngleForm {
        dms: true,
        hemisphere: None,
    };

    fn longitude(text: &str, form: AngleForm) -> Option<f64> {
        read_dms(text, Quantity::Longitude, form).ok()
    }

    #[test]
    fn angles_are_read_in_the_forms_of_iso_6709_and_of_maps() {
        // 100° 7' 30" is 100.125° by arithmetic.
        for text in [
            "100° 7' 30\" W",
            "100°7′30″W",
            "W 100 07 30",
            "-100:07:30",
            "100:07:30 w",
            "100° 7.5' W",
            "100 7,5 W",
            "100.125 W",
            "100.125° W",
            "\u{2212}100.125",
            "100 deg 7 min 30 sec W",
            "100° 7' 30'' W",
        ] {
            assert_eq!(longitude(text, DMS), Some(-100.125), "{text}");
        }
        assert_eq!(longitude("+100 07 30", DMS), Some(100.125));
        assert_eq!(longitude("100:7:30", DMS), Some(100.125));
        let lat = read_dms("45° 15' S", Quantity::Latitude, DMS);
        assert_eq!(lat, Ok(-45.25));
    }

    #[test]
    fn what_says_its_hemisphere_twice_or_has_no_such_parts_is_held() {
        for text in [
            "-100 07 30 W",
            "W 100 07 30 W",
            "100 07 30 N",
            "100 07 30 O",
            "100 60 00 W",
            "100.5 30 W",
            "100 7.5 30 W",
            "1000730 W",
            "100 W 07",
            "W",
            "",
        ] {
            assert_eq!(longitude(text, DMS), None, "{text}");
        }
    }

    #[test]
    fn the_mapping_may_state_the_hemisphere() {
        let west = AngleForm {
            hemisphere: Hemisphere::of("W", Quantity::Longitude),
            ..DMS
        };
        assert_eq!(longitude("100 07 30", west), Some(-100.125));
        assert_eq!(longitude("100 07 30 W", west), Some(-100.125));
        assert_eq!(longitude("100 07 30 E", west), None);
        assert_eq!(longitude("-100 07 30", west), None);
        assert_eq!(Hemisphere::of("N", Quantity::Longitude), None);
    }
}
