//! Texts of cells that stand for codes: kinds of crop, kinds of treatment, and names of people.

use super::known_headers::{plain, words};
use crate::mapping::names::content;
use crate::sheet::table::Cell;

/// Codes, each with the texts that people write for it.
type Codes = [(&'static str, &'static [&'static str])];

/// Kinds of crop as people write them, and the crop types of the protocols; common practice, no source.
pub(super) const CROPS: &Codes = &[
    (
        "oilseed",
        &[
            "oilseed",
            "oil",
            "oil type",
            "oil seed",
            "nusun",
            "oleagineux",
            "huile",
            "oleaginoso",
            "aceitero",
            "aceite",
        ],
    ),
    (
        "confection",
        &[
            "confection",
            "conf",
            "confectionery",
            "confectionary",
            "non oil",
            "bouche",
            "confiserie",
            "confitero",
            "confiteria",
        ],
    ),
    ("bird-food", &["bird food", "birdfood", "bird", "bird seed"]),
    ("dehull", &["dehull", "dehulling", "hulling"]),
    ("canola", &["canola"]),
    ("field-corn", &["field corn"]),
    ("processing", &["processing", "sweet corn for processing"]),
    (
        "fresh-market",
        &["fresh market", "sweet corn for the fresh market"],
    ),
];
/// Kinds of treatment as people write them; common practice, no source. A bare "yes" does not say which kind.
pub(super) const TREATMENTS: &Codes = &[
    (
        "none",
        &[
            "none",
            "no",
            "n",
            "not treated",
            "untreated",
            "not sprayed",
            "non",
            "aucun",
            "ninguno",
            "sin tratamiento",
        ],
    ),
    ("insecticide", &["insecticide", "insecticida"]),
    ("other", &["other", "autre", "otro"]),
];
/// A column with more different texts holds no codes.
const TEXTS_MAX: usize = 12;

/// What each text of a column means, "?" where it is not known; `None` if all of them are codes.
pub(super) fn code_list<'c>(
    codes: &Codes,
    cells: impl Iterator<Item = &'c Cell>,
) -> Option<Vec<(String, &'static str)>> {
    let texts = different(cells);
    let is_code = |text: &String| codes.iter().any(|(code, _)| code == text);
    if texts.iter().all(is_code) || texts.len() > TEXTS_MAX {
        return None;
    }
    let meaning = |text: String| {
        let spoken = words(&plain(&text));
        let known = codes
            .iter()
            .find(|(_, spellings)| spellings.contains(&spoken.as_str()));
        let code = known.map_or("?", |(code, _)| *code);
        (text, code)
    };
    let mut list: Vec<(String, &'static str)> = texts.into_iter().map(meaning).collect();
    // Upper and lower case are equal in a code list.
    let mut seen: Vec<String> = Vec::new();
    list.retain(|(text, _)| {
        let folded = crate::mapping::names::folded(text);
        let is_new = !seen.contains(&folded);
        seen.push(folded);
        is_new
    });
    Some(list)
}

/// The names in a column of scouts, each with a "?"; `None` if they look like codes.
pub(super) fn people<'c>(
    cells: impl Iterator<Item = &'c Cell>,
) -> Option<Vec<(String, &'static str)>> {
    let texts = different(cells);
    let is_name = |text: &String| {
        text.contains(' ') && !text.contains(|letter: char| letter.is_ascii_digit())
    };
    let has_names = texts.iter().any(is_name) && texts.len() <= TEXTS_MAX;
    has_names.then(|| texts.into_iter().map(|text| (text, "?")).collect())
}

fn different<'c>(cells: impl Iterator<Item = &'c Cell>) -> Vec<String> {
    let mut texts: Vec<String> = Vec::new();
    for text in cells.map(content) {
        if !texts.contains(&text) {
            texts.push(text);
        }
        if texts.len() > TEXTS_MAX {
            break;
        }
    }
    texts
}
