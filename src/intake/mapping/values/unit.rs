//! Units that a mapping may name and a cell may hold, and how each becomes the record's own.
//!
//! Codes are UCUM's where it has one: `har`, `[acr_us]`, `[lb_av]`, `kg`, `[scwt_av]`, `10*3`. UCUM
//! has no code for the international acre, in which American fields are measured since 1959, nor for
//! money: those are ours, `acre` and ISO 4217 (`USD`), `$` and `¢`. Factors are exact: acre and
//! pound as in `visit::units`; the US survey acre is 4,840 square yards of 3,600/3,937 m (NIST
//! Special Publication 811, appendix B); a short hundredweight is 100 lb and a short ton 2,000 lb.

use crate::mapping::member::Quantity;
use scouting::visit::units::HECTARES_PER_ACRE;

/// Hectares in one US survey acre: 160 square rods of 16.5 survey feet of 1200/3937 m.
const HECTARES_PER_SURVEY_ACRE: f64 =
    160.0 * (16.5 * 1200.0 / 3937.0) * (16.5 * 1200.0 / 3937.0) / 10_000.0;

/// How a number in some unit becomes the record's.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Unit {
    /// As the mapping or the cell names it.
    pub code: String,
    pub(super) factor: Factor,
    /// `acre`, `ha`, `lb` or `kg`, for amounts that keep their unit in the record.
    pub per: Option<&'static str>,
    /// ISO 4217, if the unit says it.
    pub currency: Option<String>,
}

/// Kept apart, since 16 / 100 is exact to the last digit where 16 × 0.01 is not.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Factor {
    multiply: f64,
    divide: f64,
}

pub(super) const ONE: Factor = Factor {
    multiply: 1.0,
    divide: 1.0,
};

const fn times(multiply: f64) -> Factor {
    Factor {
        multiply,
        divide: 1.0,
    }
}

const fn divided_by(divide: f64) -> Factor {
    Factor {
        multiply: 1.0,
        divide,
    }
}

/// A row of a table: codes of a mapping, further spellings of cells, factor.
type Spelling = (&'static [&'static str], &'static [&'static str], Factor);
/// The same with the unit that the record names.
pub(super) type SpellingPer = (
    &'static [&'static str],
    &'static [&'static str],
    Factor,
    &'static str,
);

const ACRE_IN_CELLS: &[&str] = &["ac", "ac.", "acr", "acres"];
const HECTARE_IN_CELLS: &[&str] = &["ha.", "hectare", "hectares"];

const AREAS: &[Spelling] = &[
    (&["ha", "har"], HECTARE_IN_CELLS, ONE),
    (&["acre"], ACRE_IN_CELLS, times(HECTARES_PER_ACRE)),
    (&["[acr_us]"], &[], times(HECTARES_PER_SURVEY_ACRE)),
    (&["m2"], &["m²", "sqm", "sq m"], divided_by(10_000.0)),
    (&["km2"], &["km²", "sq km"], times(100.0)),
];

const PER_AREA: &[SpellingPer] = &[
    (&["acre"], ACRE_IN_CELLS, ONE, "acre"),
    (&["ha", "har"], HECTARE_IN_CELLS, ONE, "ha"),
];

const PER_WEIGHT: &[SpellingPer] = &[
    (
        &["lb", "[lb_av]"],
        &["lbs", "lb.", "lbs.", "pound", "pounds", "#"],
        ONE,
        "lb",
    ),
    (&["kg"], &["kg.", "kilo", "kilos", "kilogram"], ONE, "kg"),
    (
        &["cwt", "[scwt_av]"],
        &["cwt.", "hundredweight"],
        divided_by(100.0),
        "lb",
    ),
    (&["[ston_av]"], &[], divided_by(2_000.0), "lb"),
    (&["t"], &["tonne", "tonnes"], divided_by(1_000.0), "kg"),
];

const PLANTS: &[Spelling] = &[
    (
        &["1", "{plant}"],
        &["", "plants", "plant", "pl", "heads"],
        ONE,
    ),
    (
        &["10*3"],
        &["k", "thousand", "1000", "x1000"],
        times(1_000.0),
    ),
];

/// Currencies that a cell may name by their code (ISO 4217): any word of three letters would look like one. They are
/// those of countries that grow sunflowers, from memory.
const CURRENCIES: [&str; 29] = [
    "USD", "CAD", "MXN", "EUR", "GBP", "AUD", "NZD", "CHF", "DKK", "SEK", "NOK", "PLN", "CZK",
    "HUF", "RON", "BGN", "UAH", "RUB", "TRY", "MDL", "RSD", "KZT", "ARS", "BRL", "UYU", "ZAR",
    "CNY", "JPY", "INR",
];

impl Unit {
    /// The number in the record's unit.
    pub(crate) fn convert(&self, number: f64) -> f64 {
        number * self.factor.multiply / self.factor.divide
    }

    /// Whether a number in this unit is the same in the other; the currency is left aside.
    pub(crate) fn measures_as(&self, other: &Unit) -> bool {
        (self.factor, self.per) == (other.factor, other.per)
    }
}

/// The unit that a mapping names; `None` if there is no such code for the quantity.
pub(in crate::mapping) fn by_code(quantity: Quantity, code: &str) -> Option<Unit> {
    find(quantity, code, false)
}

/// The unit that is next to a number in a cell: codes and the spellings that people use.
pub(crate) fn in_cell(quantity: Quantity, text: &str) -> Option<Unit> {
    find(quantity, &text.trim().to_lowercase(), true).map(|unit| Unit {
        code: text.trim().to_owned(),
        ..unit
    })
}

/// The unit that a cell of its own names for an amount: of an area itself, of others what they are for, such as `cwt`.
pub(crate) fn in_own_cell(quantity: Quantity, text: &str) -> Option<Unit> {
    if quantity == Quantity::Area {
        return in_cell(quantity, text);
    }
    let below = below_of(quantity, &text.trim().to_lowercase(), true)?;
    let plain = Above {
        factor: ONE,
        currency: None,
    };
    Some(plain.over(below, text.trim()))
}

/// The codes for a quantity, for messages.
pub(in crate::mapping) fn codes(quantity: Quantity) -> String {
    let per = |table: &[SpellingPer]| {
        let units: Vec<&str> = table.iter().flat_map(|row| row.0).copied().collect();
        units.join(", ")
    };
    match quantity {
        Quantity::Longitude | Quantity::Latitude => "deg".to_owned(),
        Quantity::Area => {
            let units: Vec<&str> = AREAS.iter().flat_map(|row| row.0).copied().collect();
            units.join(", ")
        }
        Quantity::MoneyPerArea => format!("USD/, $/ or ¢/ and one of {}", per(PER_AREA)),
        Quantity::MoneyPerWeight => format!("USD/, $/ or ¢/ and one of {}", per(PER_WEIGHT)),
        Quantity::PlantsPerArea => format!("1/, {{plant}}/ or 10*3/ and one of {}", per(PER_AREA)),
    }
}

pub(super) fn find(quantity: Quantity, text: &str, lenient: bool) -> Option<Unit> {
    let unit = |factor, per, currency| Unit {
        code: text.to_owned(),
        factor,
        per,
        currency,
    };
    match quantity {
        Quantity::Longitude | Quantity::Latitude => {
            (text == "deg" || (lenient && text == "°")).then(|| unit(ONE, None, None))
        }
        Quantity::Area => AREAS
            .iter()
            .find(|row| matches(row.0, row.1, text, lenient))
            .map(|row| unit(row.2, None, None)),
        _ => {
            let (above, below) = fraction(text, lenient)?;
            let above = above_of(quantity, above, lenient)?;
            let below = below_of(quantity, below, lenient)?;
            Some(above.over(below, text))
        }
    }
}

/// What is above the stroke: money or plants.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Above {
    /// How it becomes whole money or single plants.
    pub factor: Factor,
    /// ISO 4217, if it says so.
    pub currency: Option<String>,
}

impl Above {
    /// The unit of both parts, under the name of `code`.
    pub(super) fn over(self, below: &SpellingPer, code: &str) -> Unit {
        Unit {
            code: code.to_owned(),
            factor: Factor {
                multiply: self.factor.multiply,
                divide: self.factor.divide * below.2.divide,
            },
            per: Some(below.3),
            currency: self.currency,
        }
    }
}

/// Reads what is above the stroke.
pub(super) fn above_of(quantity: Quantity, text: &str, lenient: bool) -> Option<Above> {
    let text = text.trim();
    if quantity == Quantity::PlantsPerArea {
        let row = PLANTS
            .iter()
            .find(|row| matches(row.0, row.1, text, lenient))?;
        return Some(Above {
            factor: row.2,
            currency: None,
        });
    }
    let (by, currency) = money_of(text, lenient)?;
    Some(Above {
        factor: divided_by(by),
        currency,
    })
}

/// Reads what is below the stroke: the row of its unit.
pub(super) fn below_of(
    quantity: Quantity,
    text: &str,
    lenient: bool,
) -> Option<&'static SpellingPer> {
    let table = match quantity {
        Quantity::MoneyPerWeight => PER_WEIGHT,
        _ => PER_AREA,
    };
    table
        .iter()
        .find(|row| matches(row.0, row.1, text.trim(), lenient))
}

fn matches(codes: &[&str], spellings: &[&str], text: &str, lenient: bool) -> bool {
    codes.contains(&text) || (lenient && spellings.contains(&text))
}

/// What is above and below the stroke; a cell may say `per` or `an`.
pub(super) fn fraction(text: &str, lenient: bool) -> Option<(&str, &str)> {
    let in_words = || {
        ["per ", "an ", "a "].iter().find_map(|word| {
            let begins = text.strip_prefix(word).map(|below| ("", below));
            begins.or_else(|| text.split_once(&format!(" {word}")))
        })
    };
    text.split_once('/')
        .or_else(|| lenient.then(in_words).flatten())
}

/// What an amount is divided by to be whole money, and its currency if it is stated.
fn money_of(text: &str, lenient: bool) -> Option<(f64, Option<String>)> {
    match text {
        "$" => Some((1.0, None)),
        "¢" => Some((100.0, None)),
        text if lenient => money_in_cell(text),
        code => {
            let is_currency =
                code.len() == 3 && code.bytes().all(|letter| letter.is_ascii_uppercase());
            is_currency.then(|| (1.0, Some(code.to_owned())))
        }
    }
}

/// The same in the spellings of cells, in lower case.
fn money_in_cell(text: &str) -> Option<(f64, Option<String>)> {
    let currency = match text {
        "c" | "ct" | "cts" | "cent" | "cents" => return Some((100.0, None)),
        "dollar" | "dollars" => return Some((1.0, None)),
        "us$" | "u.s.$" | "u.s. $" | "us dollar" | "us dollars" | "u.s. dollars" => "USD",
        "c$" | "ca$" | "can$" | "cdn" | "cdn$" | "canadian dollars" => "CAD",
        "a$" | "au$" => "AUD",
        "mx$" => "MXN",
        "€" | "euro" | "euros" => "EUR",
        "£" => "GBP",
        text => {
            let code = text.trim_matches(['$', ' ']).to_uppercase();
            CURRENCIES.iter().find(|known| **known == code)?
        }
    };
    Some((1.0, Some(currency.to_owned())))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn amounts_become_the_records_own_units() {
        // The survey acre against NIST SP 811, appendix B.9: 4.046 873 E+03 square meters.
        let cases: [(Quantity, &str, f64, f64, Option<&str>); 12] = [
            (Quantity::Area, "acre", 100.0, 40.468564224, None),
            (Quantity::Area, "har", 62.4, 62.4, None),
            (Quantity::Area, "[acr_us]", 1.0, 0.404_687_260_987, None),
            (Quantity::Area, "m2", 5_000.0, 0.5, None),
            (Quantity::MoneyPerArea, "USD/acre", 8.0, 8.0, Some("acre")),
            (Quantity::MoneyPerArea, "$/har", 20.0, 20.0, Some("ha")),
            (Quantity::MoneyPerWeight, "$/cwt", 16.0, 0.16, Some("lb")),
            (
                Quantity::MoneyPerWeight,
                "¢/[lb_av]",
                16.0,
                0.16,
                Some("lb"),
            ),
            (Quantity::MoneyPerWeight, "USD/t", 352.0, 0.352, Some("kg")),
            (
                Quantity::MoneyPerWeight,
                "USD/[ston_av]",
                320.0,
                0.16,
                Some("lb"),
            ),
            (
                Quantity::PlantsPerArea,
                "10*3/acre",
                20.0,
                20_000.0,
                Some("acre"),
            ),
            (
                Quantity::PlantsPerArea,
                "1/har",
                49_400.0,
                49_400.0,
                Some("ha"),
            ),
        ];
        for (quantity, code, number, wanted, per) in cases {
            let unit = by_code(quantity, code).unwrap_or_else(|| panic!("{code} is no unit"));
            assert!(
                (unit.convert(number) - wanted).abs() < 1e-9,
                "{code}: {}",
                unit.convert(number)
            );
            assert_eq!(unit.per, per, "{code}");
        }
    }

    #[test]
    fn a_mapping_says_codes_and_a_cell_may_say_more() {
        assert_eq!(by_code(Quantity::Area, "[acr_i]"), None);
        assert_eq!(by_code(Quantity::Area, "acres"), None);
        assert_eq!(by_code(Quantity::MoneyPerWeight, "USD/acre"), None);
        assert_eq!(by_code(Quantity::MoneyPerWeight, "usd/lb"), None);
        assert!(in_cell(Quantity::Area, " Acres ").is_some());
        assert_eq!(
            in_cell(Quantity::MoneyPerArea, "$/ac").and_then(|unit| unit.per),
            Some("acre")
        );
        assert_eq!(
            in_cell(Quantity::MoneyPerWeight, "cents per lb").map(|unit| unit.convert(16.0)),
            Some(0.16)
        );
        assert_eq!(
            in_cell(Quantity::PlantsPerArea, "k/ac").map(|unit| unit.convert(20.0)),
            Some(20_000.0)
        );
        assert_eq!(in_cell(Quantity::Area, "(est)"), None);
    }
}
