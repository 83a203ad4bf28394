//! Names as they are shown: safe to set into a text, and distinguished where two are the same.

use std::collections::{HashMap, HashSet};

use super::unseen::is_unseen;
use scouting::region::Region;

/// A name that cannot disturb the text around it: without control characters and marks of writing
/// direction, which show as nothing, and, if it may run from right to left, set apart from what
/// is next to it (Unicode Standard Annex 9, isolates).
pub(crate) fn display_name(name: &str) -> String {
    let name: String = name.chars().filter(|&c| !is_unseen(c)).collect();
    match name.chars().any(|c| c >= '\u{590}') {
        true => format!("\u{2068}{name}\u{2069}"),
        false => name,
    }
}

/// The counties' names as shown, by id; where two counties have one name, with the id behind it.
pub(crate) fn display_names(region: &Region) -> HashMap<&str, String> {
    let counties = || region.counties().iter().chain(region.without_shape());
    let mut seen = HashSet::new();
    let twice: HashSet<&str> = counties()
        .filter(|county| !seen.insert(&*county.name))
        .map(|county| &*county.name)
        .collect();
    counties()
        .map(|county| {
            let name = display_name(&county.name);
            let shown = match twice.contains(&*county.name) {
                true => format!("{name} ({})", display_name(&county.id)),
                false => name,
            };
            (&*county.id, shown)
        })
        .collect()
}

/// The counties' numbers on the map, by id: 1, 2, 3 … in the order of their names as shown.
pub(crate) fn display_numbers(region: &Region) -> HashMap<&str, usize> {
    let names = display_names(region);
    let mut ids: Vec<&str> = names.keys().copied().collect();
    ids.sort_by(|one, other| names[one].cmp(&names[other]).then(one.cmp(other)));
    let numbered = ids.into_iter().enumerate();
    numbered.map(|(place, id)| (id, place + 1)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_loses_what_is_not_seen_and_is_set_apart_if_it_may_run_the_other_way() {
        assert_eq!(display_name("O'Brien \u{202e}<b>\u{0}"), "O'Brien <b>");
        assert_eq!(
            display_name("\u{2069}\u{5d0}\u{200f}"),
            "\u{2068}\u{5d0}\u{2069}"
        );
    }
}
