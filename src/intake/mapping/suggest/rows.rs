//! The sections of a draft that hold for the whole table: signs of numbers, rows, the visit's id, constants.

use super::field::BLANK_SHARE;
use super::form::{Counted, Form};
use super::known_headers::{DAY, FIELD, NIGHTS, SCOUT, SITE};
use super::number_signs::{Signs, Written, signs};
use super::repeats::Level as RepeatLevel;
use super::seen::Seen;
use super::toml_text::{toml_list, toml_text};
use crate::mapping::member::{Level, MEMBERS, Member, Quantity, is_unit_of_amount};
use crate::mapping::names::trimmed;
use crate::sheet::table::Cell;

/// What a field has of plants on an acre or a hectare, roughly: tells 20,000 from 20.
const PLANTS: (f64, f64) = (1_000.0, 1_000_000.0);
/// Words of names of files that say nothing of their sender.
const NO_NAMES: [&str; 24] = [
    "week", "wk", "kw", "semaine", "semana", "sheet", "visits", "visit", "copy", "of", "final",
    "new", "data", "jan", "feb", "mar", "apr", "may", "jun", "jul", "july", "aug", "sep", "oct",
];
/// Letters of a prefix.
const PREFIX_MAX: usize = 24;

/// `[schema]`: nothing where no cell needs it, since what could be read in two ways is held.
pub(super) fn schema(seen: &Seen<'_>) -> String {
    let mut written = Vec::new();
    for (column, named) in seen.known() {
        let Some(quantity) = named.quantity else {
            continue;
        };
        let counts_single = named
            .unit
            .as_deref()
            .is_none_or(|unit| !unit.starts_with("10*3"));
        let range = match quantity {
            Quantity::PlantsPerArea if counts_single => PLANTS,
            quantity => quantity.range(),
        };
        for cell in seen.cells(column.place) {
            if let Cell::Text(text) = cell {
                written.push(Written {
                    text: trimmed(text),
                    range,
                    is_angle: quantity.is_angle(),
                });
            }
        }
    }
    match signs(&written) {
        Signs::Unsaid => String::new(),
        Signs::Said(decimal, None) => format!("[schema]\ndecimalChar = \"{decimal}\"\n\n"),
        Signs::Said(decimal, Some(group)) => {
            format!("[schema]\ndecimalChar = \"{decimal}\"\ngroupChar = \"{group}\"\n\n")
        }
        Signs::Undecided(cell) => format!(
            "[schema]\n# DECIDE: the sign before decimals and the one between thousands, \".\", \",\", \" \" or \"'\"; a cell has {}.\n\
             decimalChar = \"?\"\ngroupChar = \"?\"\n\n",
            crate::mapping::names::quoted(&cell)
        ),
    }
}

/// `[rows]` and `[visitId]`.
pub(super) fn rows(seen: &Seen<'_>, form: Form, file_name: &str) -> String {
    let mut text = String::from("[rows]\n");
    match form.row_is {
        Some(row_is) => text += &format!("rowIs = \"{row_is}\"\n"),
        None => {
            text += "# DECIDE: what one row is: visit, site, head, plant, trap or bract. For rows that are no visits add\n# visitKey = [\"/field/field_id\", \"/observed_on\"].\nrowIs = \"?\"\n"
        }
    }
    let known: Vec<&str> = [FIELD, DAY, SCOUT]
        .into_iter()
        .filter(|to| seen.has(to))
        .collect();
    let has_id = seen.has("/visit_id");
    if form.row_is.is_some_and(|row_is| row_is != "visit") {
        let key = if has_id {
            vec!["/visit_id"]
        } else {
            known.clone()
        };
        let places: Vec<usize> = key.iter().filter_map(|to| seen.place_of(to)).collect();
        text += &match key.is_empty() {
            true => "# DECIDE: which members make rows one visit, as [\"/field/field_id\", \"/observed_on\"].\nvisitKey = \"?\"\n".to_owned(),
            false => format!("visitKey = {}\n", toml_list(&key)),
        };
        if !places.is_empty() && seen.blank_share(&places) >= BLANK_SHARE {
            text += "blankKey = \"continues\" # the visit is written in its first row alone\n";
        }
    }
    text.push('\n');
    if !has_id {
        text += &visit_id(&known, file_name);
    }
    text
}

fn visit_id(known: &[&str], file_name: &str) -> String {
    let usual = [FIELD, DAY, SCOUT];
    let from = if known.len() < 2 { &usual[..] } else { known };
    let prefix = short_form(file_name).map_or_else(String::new, |prefix| {
        format!(
            "prefix = {} # a name of the sender that no other sender has\n",
            toml_text(&prefix)
        )
    });
    format!(
        "[visitId]\n# The sheet has no id of visits; these members make one.\nfrom = {}\n{prefix}\n",
        toml_list(from)
    )
}

/// The words of a file's name that may name its sender: "North week 30.xlsx" is north.
fn short_form(file_name: &str) -> Option<String> {
    let name = file_name.rsplit(['/', '\\']).next().unwrap_or_default();
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    let words = stem
        .split(|letter: char| !letter.is_alphabetic())
        .map(str::to_lowercase);
    let words: Vec<String> = words
        .filter(|word| word.chars().count() > 1 && !NO_NAMES.contains(&word.as_str()))
        .collect();
    let joined: String = words.join("-").chars().take(PREFIX_MAX).collect();
    (!joined.is_empty()).then_some(joined)
}

/// What every record needs and no column gives.
pub(super) fn constants(seen: &Seen<'_>, form: Form) -> String {
    let mut lines = String::new();
    for member in MEMBERS.iter().filter(|member| is_asked(seen, member)) {
        lines += &format!(
            "# DECIDE: {}.\n\"{}\" = \"?\"\n",
            question(member),
            member.pointer
        );
    }
    let dollars = seen.known().filter(|(_, named)| {
        let unit = named.unit.as_deref().unwrap_or_default();
        unit.starts_with(['$', '¢'])
    });
    for (_, named) in dollars {
        let currency = named.to.replace("/amount", "/currency");
        lines += &format!(
            "# DECIDE: the currency, as USD: the header does not say whose dollars.\n\"{currency}\" = \"?\"\n"
        );
    }
    let repeats_at = |level| {
        let mut levels = seen
            .repeats
            .iter()
            .filter_map(|repeat| repeat.shape.levels());
        levels.any(|levels| levels.contains(&level))
    };
    let below_site = !matches!(form.row_is, Some("visit" | "site") | None);
    if below_site && !seen.has(SITE) && !repeats_at(RepeatLevel::Site) {
        lines += &format!(
            "# DECIDE: no column says which site a row is of; 1 (without quotation marks) if all of a visit are of one.\n\"{SITE}\" = \"?\"\n"
        );
    }
    let nights_repeat = seen.repeats.iter().any(|repeat| {
        super::known_headers::known_as(&repeat.shape.end_words())
            .is_some_and(|named| named.to == NIGHTS)
    });
    if form.counted == Counted::Traps && !seen.has(NIGHTS) && !nights_repeat {
        lines += &format!(
            "# DECIDE: the nights for which each trap was out (without quotation marks).\n\"{NIGHTS}\" = \"?\"\n"
        );
    }
    match lines.is_empty() {
        true => lines,
        false => format!("[constant]\n{lines}\n"),
    }
}

/// Whether a record needs a member that the sheet does not seem to have.
fn is_asked(seen: &Seen<'_>, member: &Member) -> bool {
    let made = ["/schema_version", "/revision", "/visit_id"];
    member.level == Level::Visit
        && member.required
        && !is_unit_of_amount(member)
        && !made.contains(&member.pointer)
        && !seen.has(member.pointer)
}

fn question(member: &Member) -> String {
    match member.pointer {
        "/submitted_at" => "the day on which this sheet was handed in, as 2026-07-23T18:00:00Z; for the sheets of every week delete this line,\n# and give the day to load with --submitted-at".to_owned(),
        _ => format!("no column gives it; here for all rows, or as a [[field]]: {}", member.expected),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_of_a_file_gives_a_prefix() {
        for (name, wanted) in [
            ("north.xlsx", Some("north")),
            ("inbox/North District week 30.csv", Some("north-district")),
            ("2026-07-21.csv", None),
            ("-", None),
            ("visits.csv", None),
        ] {
            assert_eq!(short_form(name).as_deref(), wanted, "{name}");
        }
    }
}
