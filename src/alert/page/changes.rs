//! What changed between an alert and the one that corrects it, place by place.
//!
//! Compares public rows alone, and only what a reader acts on: the class of the median, and the fields at threshold.

use std::collections::BTreeMap;

use super::row_words::fields_in_words;
use crate::alert::bulletin::Bulletin;
use crate::shared::classes::Class;
use crate::shared::count_words::CountWords;
use crate::shared::shown_names::{display_name, display_names};
use disclosure::place::Place;
use disclosure::public_row::PublicRow;
use scouting::region::Region;

/// A place of which something else is said now than before.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct PlaceChange {
    /// Its name as shown.
    pub place: String,
    /// What is said now, and in brackets what was said.
    pub words: String,
}

/// The places of which `now` says something else than `before`, by name; counties first.
pub(crate) fn changes(
    region: &Region,
    before: &[PublicRow],
    now: &[PublicRow],
    words: CountWords,
) -> Vec<PlaceChange> {
    let names = display_names(region);
    let mut places: BTreeMap<&Place, [Option<&PublicRow>; 2]> = BTreeMap::new();
    for (place, rows) in [before, now].into_iter().enumerate() {
        for row in rows {
            places.entry(&row.place).or_default()[place] = Some(row);
        }
    }
    let mut changes: Vec<(bool, PlaceChange)> = places
        .into_iter()
        .filter_map(|(place, [before, now])| {
            let name = match place.county() {
                Some(id) => names.get(id)?.clone(),
                None => display_name(&place.in_words()),
            };
            let said = change_in_words(before, now, words)?;
            let change = PlaceChange {
                place: name,
                words: said,
            };
            Some((place.county().is_none(), change))
        })
        .collect();
    changes.sort_by(|one, other| (one.0, &one.1.place).cmp(&(other.0, &other.1.place)));
    changes.into_iter().map(|(_, change)| change).collect()
}

fn change_in_words(
    before: Option<&PublicRow>,
    now: Option<&PublicRow>,
    words: CountWords,
) -> Option<String> {
    let said = |row: Option<&PublicRow>| {
        let counts = row
            .filter(|row| row.fields_visited > 0)
            .map(fields_in_words);
        (Class::of(row), counts)
    };
    let (was, is) = (said(before), said(now));
    if was == is {
        return None;
    }
    let at = format!("{} {}", words.several(), words.at());
    let mut parts = Vec::new();
    if was.0 != is.0 {
        parts.push(format!(
            "{} (was: {})",
            in_words(is.0, words),
            in_words(was.0, words)
        ));
    }
    match (was.1, is.1) {
        (Some(was), Some(is)) if was != is => {
            parts.push(format!("{at} {is} (was {was})"));
        }
        (None, Some(is)) => parts.push(format!("{at} {is}")),
        (_, _) => {}
    }
    Some(parts.join("; "))
}

fn in_words(class: Class, words: CountWords) -> String {
    match class {
        Class::Median(_, place) if place > 0 => format!("median {}", class.words(words)),
        other => other.words(words),
    }
}

/// Of a correction: the counties of which something else is said now.
pub(super) fn changes_of(bulletin: &Bulletin) -> Option<Vec<PlaceChange>> {
    let replaced = bulletin.issue?.replaces.as_ref()?;
    Some(changes(
        bulletin.region,
        &replaced.rows,
        bulletin.rows,
        bulletin.protocol.words(),
    ))
}
