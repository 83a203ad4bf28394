//! `TERMS.md`: the terms to be agreed with whoever receives a private package, with blanks for names and days.

use super::facts::{Facts, Level};
use crate::figures::map::columns::plain;

/// The terms; words in braces are filled in.
const TERMS: &str = include_str!("terms.md");

/// The page.
pub(super) fn terms(facts: &Facts) -> String {
    let or_blank = |text: &str| match text.is_empty() {
        true => BLANK.to_owned(),
        false => plain(text),
    };
    let holds = match facts.level {
        Level::Full => {
            "It names fields, farms and scouts, and has the points, costs and prices of single fields."
        }
        Level::Public | Level::Grid => {
            "Its rows are single fields without a name. Somebody who knows a field well may still recognize it."
        }
    };
    TERMS
        .replace("{package}", &plain(&facts.title()))
        .replace("{version}", &facts.store_version.to_string())
        .replace("{holds}", holds)
        .replace("{least}", &facts.rule.min_fields.to_string())
        .replace("{farms}", &facts.rule.min_farms.to_string())
        .replace("{office}", &or_blank(&facts.office))
        .replace("{contact}", &or_blank(&facts.contact))
        .replace("{blank}", BLANK)
}

/// A line to write on.
const BLANK: &str = "\\_\\_\\_\\_\\_\\_\\_\\_\\_\\_\\_\\_\\_\\_\\_\\_\\_\\_\\_\\_";
