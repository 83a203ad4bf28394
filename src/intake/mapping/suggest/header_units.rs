//! The unit that a header states, as a code of a mapping: `($/ac)` is `$/acre`.

use crate::mapping::member::Quantity;
use crate::mapping::values::unit::{Unit, by_code, in_cell};

/// Words of headers for those that cells use: signs, French and Spanish, plurals.
const SPELLINGS: &[(&str, &str)] = &[
    ("hectareas", "ha"),
    ("hectarea", "ha"),
    ("plantes", "plants"),
    ("plantas", "plants"),
    ("pieds", "plants"),
    ("thousands", "thousand"),
    ("milliers", "thousand"),
    ("miles", "thousand"),
    ("livres", "lb"),
    ("livre", "lb"),
    ("libras", "lb"),
    ("libra", "lb"),
    ("tonnes", "t"),
    ("toneladas", "t"),
    ("tonelada", "t"),
    ("dolares", "dollars"),
    ("centavos", "cents"),
    ("por", "per"),
    ("par", "per"),
];
/// A number to compare two units by.
const SOME: f64 = 7.0;

/// The code of the unit that a plain text names. Money without a currency is `$`, which says that the currency is
/// stated elsewhere.
pub(super) fn unit_code(quantity: Quantity, text: &str) -> Option<String> {
    let text = respelled(text);
    let found =
        in_cell(quantity, &text).or_else(|| in_cell(quantity, &with_money(quantity, &text)?))?;
    let codes = codes(quantity, &found, &text);
    codes
        .into_iter()
        .find(|code| by_code(quantity, code).is_some_and(|unit| is_same(&unit, &found)))
}

fn respelled(text: &str) -> String {
    let spelled = |word: &str| {
        let known = SPELLINGS.iter().find(|(from, _)| *from == word);
        known.map_or_else(|| word.to_owned(), |(_, to)| (*to).to_owned())
    };
    let trimmed = text.trim().trim_matches(['(', ')', '[', ']', ',', ' ']);
    let mut words = Vec::new();
    for part in trimmed.split('/') {
        let part: Vec<String> = part.split_whitespace().map(spelled).collect();
        words.push(part.join(" "));
    }
    words.join("/").replace("x 1000", "x1000")
}

/// `per acre` and `/acre` of an amount of money say no currency.
fn with_money(quantity: Quantity, text: &str) -> Option<String> {
    let is_money = matches!(quantity, Quantity::MoneyPerArea | Quantity::MoneyPerWeight);
    let below = ["per ", "/", "a ", "an "]
        .into_iter()
        .find_map(|word| text.strip_prefix(word));
    below
        .filter(|_| is_money)
        .map(|below| format!("$/{}", below.trim()))
}

/// Codes that may be the unit, the one nearest to its text first.
fn codes(quantity: Quantity, unit: &Unit, text: &str) -> Vec<String> {
    let over = |above: &[&str], below: &[&str]| -> Vec<String> {
        let pairs = above
            .iter()
            .flat_map(|above| below.iter().map(move |below| (above, below)));
        pairs
            .map(|(above, below)| format!("{above}/{below}"))
            .collect()
    };
    let money: Vec<&str> = match &unit.currency {
        Some(currency) => vec![currency],
        None if text.starts_with(['¢', 'c']) => vec!["¢", "$"],
        None => vec!["$", "¢"],
    };
    match quantity {
        Quantity::Longitude | Quantity::Latitude => Vec::new(),
        Quantity::Area => ["ha", "acre", "m2", "km2"].map(str::to_owned).to_vec(),
        Quantity::MoneyPerArea => over(&money, &["acre", "ha"]),
        Quantity::MoneyPerWeight => over(&money, &["lb", "kg", "cwt", "t"]),
        Quantity::PlantsPerArea => over(&["1", "10*3"], &["acre", "ha"]),
    }
}

fn is_same(unit: &Unit, other: &Unit) -> bool {
    unit.per == other.per
        && unit.currency == other.currency
        && (unit.convert(SOME) - other.convert(SOME)).abs() < 1e-9
}
