//! Headers that are often over the members of a visit, in English, French and Spanish, for the draft of a mapping.
//!
//! They are in `known_headers.toml`, written as [`words`] leaves them.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use serde::Deserialize;

use super::header_units::unit_code;
use crate::mapping::member::{Kind, Quantity, exactly};
use crate::mapping::names::folded;
use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

pub(super) const FIELD: &str = "/field/field_id";
pub(super) const DAY: &str = "/observed_on";
pub(super) const SCOUT: &str = "/observer_id";
pub(super) const SITE: &str = "/sites/{site}/site";
pub(super) const HEAD_COUNT: &str = "/sites/{site}/heads/{head}/{bract}";
pub(super) const PLANT_COUNT: &str = "/sites/{site}/plants/{plant}";
pub(super) const CATCH: &str = "/sites/{site}/traps/{trap}/catch";
pub(super) const NIGHTS: &str = "/sites/{site}/traps/{trap}/nights";

/// Letters of a header; what is longer is a text. A hostile sheet may have thousands of words in one.
pub(super) const LETTERS_MAX: usize = 80;
/// Words that say only that a column holds a number or a code.
const NUMBER_WORDS: [&str; 9] = [
    "no", "n", "nr", "nb", "num", "numero", "number", "id", "code",
];

/// The headers of `known_headers.toml`.
#[derive(Deserialize)]
struct Headers {
    derived: Vec<String>,
    /// Headers by member and language.
    known: BTreeMap<String, BTreeMap<String, Vec<String>>>,
}

static HEADERS: LazyLock<Headers> = LazyLock::new(|| {
    toml::from_str(include_str!("known_headers.toml")).expect("our own headers are TOML")
});

/// What a header is known to name.
#[derive(Debug, Clone)]
pub(super) struct Named {
    /// The member, or the number of a unit.
    pub to: &'static str,
    /// What it measures, if it is a number with a unit.
    pub quantity: Option<Quantity>,
    /// The code of the unit that the header states.
    pub unit: Option<String>,
    /// What the header says in brackets.
    pub said: String,
}

/// The member that a header is known to name, with the unit that it states.
pub(super) fn known_as(header: &str) -> Option<Named> {
    if header.len() > LETTERS_MAX {
        return None;
    }
    let plain = plain(header);
    splits(&plain)
        .into_iter()
        .find_map(|split| named(split, &plain))
}

/// Whether a header is over what is computed from other columns.
pub(super) fn is_derived(header: &str) -> bool {
    HEADERS.derived.contains(&words(&plain(header)))
}

/// How much of a header the text after its name must be: in brackets anything, elsewhere a unit alone.
struct Split<'a> {
    name: &'a str,
    rest: &'a str,
    is_marked: bool,
}

/// The ways in which a header may be a name and a unit, the likeliest first.
fn splits(plain: &str) -> Vec<Split<'_>> {
    let whole = Split {
        name: plain,
        rest: "",
        is_marked: true,
    };
    let mut splits = vec![whole];
    let marks = ['(', '[', ','];
    splits.extend(plain.split_once(marks).map(|(name, rest)| Split {
        name,
        rest: rest.trim_end_matches([')', ']']),
        is_marked: true,
    }));
    let mut ends: Vec<usize> = plain
        .char_indices()
        .filter(|(_, letter)| *letter == ' ' || *letter == '/')
        .map(|(place, _)| place)
        .collect();
    ends.reverse();
    splits.extend(ends.into_iter().map(|place| Split {
        name: &plain[..place],
        rest: &plain[place..],
        is_marked: false,
    }));
    splits
}

fn named(split: Split<'_>, plain: &str) -> Option<Named> {
    let name = words(split.name);
    let (to, _) = HEADERS
        .known
        .iter()
        .find(|(_, languages)| languages.values().any(|headers| headers.contains(&name)))?;
    let quantity = match exactly(to).kind {
        Kind::Number(quantity) => Some(quantity),
        _ => None,
    };
    // "Acres" and "plants/ac" are names and units in one.
    let stated = [split.rest, plain].into_iter();
    let unit =
        quantity.and_then(|quantity| stated.clone().find_map(|text| unit_code(quantity, text)));
    (split.is_marked || unit.is_some()).then(|| Named {
        to,
        quantity,
        unit,
        said: split.rest.trim().to_owned(),
    })
}

/// A text in lower case, without accents and ligatures.
pub(super) fn plain(text: &str) -> String {
    let folded = folded(text);
    let bare = folded.nfd().filter(|letter| !is_combining_mark(*letter));
    bare.collect::<String>()
        .replace('œ', "oe")
        .replace(['_', 'º'], " ")
}

/// The words of a plain text, without those for "number" at its ends.
pub(super) fn words(plain: &str) -> String {
    let mut words: Vec<&str> = plain
        .split(|letter: char| !letter.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .collect();
    let is_number = |word: Option<&&str>| word.is_some_and(|word| NUMBER_WORDS.contains(word));
    while words.len() > 1 && is_number(words.last()) {
        words.pop();
    }
    while words.len() > 1 && is_number(words.first()) {
        words.remove(0);
        // "Number of eggs".
        if words.len() > 1 && ["of", "de"].contains(&words[0]) {
            words.remove(0);
        }
    }
    words.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_header_names_one_member() {
        let mut all: Vec<&String> = HEADERS.derived.iter().collect();
        for (to, languages) in &HEADERS.known {
            assert_eq!(exactly(to).pointer, to);
            let headers = languages.values().flatten();
            for header in headers {
                assert_eq!(&words(&plain(header)), header, "as the search leaves it");
                all.push(header);
            }
        }
        let count = all.len();
        all.sort();
        all.dedup();
        assert_eq!(all.len(), count, "a header is listed twice");
    }

    #[test]
    fn headers_say_member_and_unit() {
        let cases: [(&str, &str, Option<&str>); 33] = [
            ("Field ID", FIELD, None),
            ("N° parcelle", FIELD, None),
            ("Date (mm/dd/yyyy)", DAY, None),
            ("Fecha de visita", DAY, None),
            ("Area (ac)", "/field/area_ha", Some("acre")),
            ("Area, ha", "/field/area_ha", Some("ha")),
            ("Acres", "/field/area_ha", Some("acre")),
            ("Field size", "/field/area_ha", None),
            ("Superficie (ha)", "/field/area_ha", Some("ha")),
            ("Hectáreas", "/field/area_ha", Some("ha")),
            (
                "Price ($/lb)",
                "/economics/market_value/amount",
                Some("$/lb"),
            ),
            (
                "Price ($/cwt)",
                "/economics/market_value/amount",
                Some("$/cwt"),
            ),
            (
                "Price (cents/lb)",
                "/economics/market_value/amount",
                Some("¢/lb"),
            ),
            (
                "Price, USD per lb",
                "/economics/market_value/amount",
                Some("USD/lb"),
            ),
            (
                "Prix (€/t)",
                "/economics/market_value/amount",
                Some("EUR/t"),
            ),
            (
                "Precio USD/kg",
                "/economics/market_value/amount",
                Some("USD/kg"),
            ),
            (
                "cost $/ac",
                "/economics/treatment_cost/amount",
                Some("$/acre"),
            ),
            (
                "Cost/ac",
                "/economics/treatment_cost/amount",
                Some("$/acre"),
            ),
            (
                "Cost per acre",
                "/economics/treatment_cost/amount",
                Some("$/acre"),
            ),
            (
                "Coût (€/ha)",
                "/economics/treatment_cost/amount",
                Some("EUR/ha"),
            ),
            ("Cost (USD)", "/economics/treatment_cost/amount", None),
            (
                "plants/acre",
                "/economics/plant_population/count",
                Some("1/acre"),
            ),
            (
                "Plants per acre",
                "/economics/plant_population/count",
                Some("1/acre"),
            ),
            (
                "Stand (1000/ac)",
                "/economics/plant_population/count",
                Some("10*3/acre"),
            ),
            (
                "Stand (thousands/ac)",
                "/economics/plant_population/count",
                Some("10*3/acre"),
            ),
            (
                "Plantes/ha",
                "/economics/plant_population/count",
                Some("1/ha"),
            ),
            (
                "Plantas por ha",
                "/economics/plant_population/count",
                Some("1/ha"),
            ),
            ("Bractée n°", "{bract}", None),
            ("Œufs", HEAD_COUNT, None),
            ("Nº huevos", HEAD_COUNT, None),
            ("Trap-nights", NIGHTS, None),
            ("Site #", SITE, None),
            ("Plant", "{plant}", None),
        ];
        for (header, to, unit) in cases {
            let named = known_as(header).unwrap_or_else(|| panic!("{header} is not known"));
            assert_eq!((named.to, named.unit.as_deref()), (to, unit), "{header}");
        }
        for unknown in [
            "Wind",
            "",
            "Initials of helper",
            "Bud 1",
            "Field condition",
            "12",
        ] {
            let named = known_as(unknown);
            assert!(named.is_none(), "{unknown}: {named:?}");
        }
    }
}
