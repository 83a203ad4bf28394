//! The text next to a number, where the mapping states the unit of the column: does it say the same, or another thing?
//!
//! Nothing is left out because it is not understood. A cell of a column in `$/acre` may say `$8`, `8 /ac`, `8 an
//! acre` or `US$ 8.00 per acre`: the unit of the column says the rest. Where the column is in whole money or
//! single plants, a cell may also say cents or thousands, since those can be read in one way only.

use super::unit::{Above, ONE, Unit, above_of, below_of, find, fraction};
use crate::mapping::member::Quantity;

/// What text next to a number says.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::mapping) enum Meaning {
    /// The unit of the number, which agrees with that of the column.
    Agrees(Unit),
    /// Another unit or currency than that of the column.
    Differs,
    /// No unit of the quantity.
    Unknown,
}

/// Reads the text next to a number; what it leaves unsaid is as the column has it.
pub(in crate::mapping) fn meaning(quantity: Quantity, about: &str, column: &Unit) -> Meaning {
    let about = about.trim().to_lowercase();
    let ratio = column.code.split_once('/').and_then(|(above, below)| {
        let above = above_of(quantity, above, false)?;
        Some((above, below_of(quantity, below, false)?))
    });
    let Some((column_above, column_below)) = ratio else {
        return match find(quantity, &about, true) {
            Some(unit) if unit.factor == column.factor => Meaning::Agrees(column.clone()),
            Some(_) => Meaning::Differs,
            None => Meaning::Unknown,
        };
    };
    let (above_text, below_text) = fraction(&about, true).unwrap_or((&about, ""));
    let above = match above_text.trim() {
        "" => Some(column_above.clone()),
        text => above_of(quantity, text, true),
    };
    let below = match below_text.trim() {
        "" => Some(column_below),
        text => below_of(quantity, text, true),
    };
    let (Some(above), Some(below)) = (above, below) else {
        return Meaning::Unknown;
    };
    // Cents of a column in dollars and thousands of one in plants can be read in one way only.
    let same_scale = above.factor == column_above.factor || column_above.factor == ONE;
    let same_currency = same_currency(above_text, above.currency.as_deref(), column);
    if !same_scale || !same_currency || below.0 != column_below.0 {
        return Meaning::Differs;
    }
    let currency = above.currency.clone().or_else(|| column.currency.clone());
    Meaning::Agrees(Above { currency, ..above }.over(below, &column.code))
}

/// A sign or word for dollars means no euros; of a currency that is stated elsewhere the record has to agree.
fn same_currency(above: &str, said: Option<&str>, column: &Unit) -> bool {
    match (said, &column.currency) {
        (Some(said), Some(column)) => said == column,
        (None, Some(column)) => has_dollars(column) || !above.contains(['$', 'd']),
        (_, None) => true,
    }
}

/// Whether amounts of the currency are written with the sign `$`.
fn has_dollars(currency: &str) -> bool {
    currency.ends_with('D') || ["MXN", "ARS", "UYU"].contains(&currency)
}

/// A mark for dollars alone, where the mapping states no unit: what they are for is stated elsewhere.
pub(in crate::mapping) fn is_dollars_alone(quantity: Quantity, about: &str) -> bool {
    let is_money = matches!(quantity, Quantity::MoneyPerArea | Quantity::MoneyPerWeight);
    is_money
        && matches!(
            about.trim().to_lowercase().as_str(),
            "$" | "dollar" | "dollars"
        )
}

#[cfg(test)]
mod tests {
    use super::super::unit::by_code;
    use super::*;

    /// What the number 8 becomes with the text next to it, or that the text differs or is unknown.
    #[derive(Debug, PartialEq)]
    enum Eight {
        Is(f64),
        Differs,
        Unknown,
    }
    use Eight::{Differs, Is, Unknown};

    #[test]
    fn text_next_to_a_number_means_what_it_says() {
        let (cost, price, plants, area) = (
            (Quantity::MoneyPerArea, "$/acre"),
            (Quantity::MoneyPerWeight, "USD/lb"),
            (Quantity::PlantsPerArea, "1/acre"),
            (Quantity::Area, "acre"),
        );
        let cents = (Quantity::MoneyPerWeight, "¢/lb");
        let hundred = (Quantity::MoneyPerWeight, "$/cwt");
        let thousands = (Quantity::PlantsPerArea, "10*3/acre");
        let euros = (Quantity::MoneyPerArea, "EUR/ha");
        let acres = 8.0 * 0.404_685_642_24;
        let cases = [
            (cost, "$", Is(8.0)),
            (cost, "US$", Is(8.0)),
            (cost, "USD", Is(8.0)),
            (cost, "dollars", Is(8.0)),
            (cost, "$ /ac", Is(8.0)),
            (cost, "$ per acre", Is(8.0)),
            (cost, "an acre", Is(8.0)),
            (cost, "dollars an acre", Is(8.0)),
            (cost, "¢", Is(0.08)),
            (cost, "per hectare", Differs),
            (cost, "$ /ha", Differs),
            (cost, "($ )", Unknown),
            (cost, "(est)", Unknown),
            (cost, "est", Unknown),
            (cost, "acre", Unknown),
            (cost, "whole field", Unknown),
            (price, "$", Is(8.0)),
            (price, "per pound", Is(8.0)),
            (price, "¢", Is(0.08)),
            (price, "c/lb", Is(0.08)),
            (price, "cents a lb", Is(0.08)),
            (price, "EUR", Differs),
            (price, "€", Differs),
            (price, "£", Differs),
            (price, "CAD", Differs),
            (price, "C$", Differs),
            (price, "CDN", Differs),
            (price, "A$", Differs),
            (price, "EUR /lb", Differs),
            (price, "a kilo", Differs),
            (price, "$ /cwt", Differs),
            (price, "$ /bu", Unknown),
            (cents, "¢", Is(0.08)),
            (cents, "/lb", Is(0.08)),
            (cents, "$", Differs),
            (cents, "/cwt", Differs),
            (hundred, "$ /cwt", Is(0.08)),
            (hundred, "$", Is(0.08)),
            (hundred, "¢/lb", Differs),
            (plants, "plants/acre", Is(8.0)),
            (plants, "plants", Is(8.0)),
            (plants, "k", Is(8_000.0)),
            (plants, "/ha", Differs),
            (plants, "per hectare", Differs),
            (plants, "%", Unknown),
            (thousands, "k", Is(8_000.0)),
            (thousands, "plants", Differs),
            (euros, "€", Is(8.0)),
            (euros, "/ha", Is(8.0)),
            (euros, "$", Differs),
            (euros, "dollars", Differs),
            (area, "acres", Is(acres)),
            (area, "ac.", Is(acres)),
            (area, "ha", Differs),
            (area, "section", Unknown),
        ];
        for ((quantity, code), about, wanted) in cases {
            let column = by_code(quantity, code).unwrap_or_else(|| panic!("{code}"));
            let read = match meaning(quantity, about, &column) {
                Meaning::Agrees(unit) => Is(unit.convert(8.0)),
                Meaning::Differs => Differs,
                Meaning::Unknown => Unknown,
            };
            assert_eq!(read, wanted, "8 {about} in a column of {code}");
        }
    }

    #[test]
    fn a_currency_in_the_cell_is_said_where_the_column_names_none() {
        let column = by_code(Quantity::MoneyPerArea, "$/acre").unwrap_or_else(|| panic!("a unit"));
        for (about, wanted) in [("CAD", Some("CAD")), ("€", Some("EUR")), ("$", None)] {
            let Meaning::Agrees(unit) = meaning(Quantity::MoneyPerArea, about, &column) else {
                panic!("{about} is a unit")
            };
            assert_eq!(unit.currency.as_deref(), wanted, "{about}");
        }
    }
}
