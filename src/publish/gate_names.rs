//! Whether a text holds a name that was given in confidence: an id of a field, a farm, a scout or a visit.
//!
//! A name counts where it stands as a word of its own. Names that could be any word or number are not
//! looked for: those under four characters, those of letters alone under twelve, digits alone under six,
//! and those that the public files hold by right, such as the id of a county.

use std::collections::{BTreeSet, HashMap};

/// The names to look for, by their longest word: of thousands that begin alike, the end is their own.
#[derive(Debug, Default)]
pub(super) struct PrivateNames(HashMap<String, Vec<Named>>);

#[derive(Debug)]
struct Named {
    name: String,
    /// Bytes of the name before the word that it is found by.
    before: usize,
}

impl PrivateNames {
    /// The names of the store that a text can be held to; `public` are those that it may hold.
    pub(super) fn of(names: &BTreeSet<String>, public: &BTreeSet<String>) -> PrivateNames {
        let mut by_word: HashMap<String, Vec<Named>> = HashMap::new();
        for name in names
            .iter()
            .filter(|name| is_telling(name) && !public.contains(*name))
        {
            // A name without a letter or digit is no word.
            if let Some((before, word)) = words(name).max_by_key(|(_, word)| word.len()) {
                let named = Named {
                    name: name.clone(),
                    before,
                };
                by_word.entry(word.to_owned()).or_default().push(named);
            }
        }
        PrivateNames(by_word)
    }

    /// The first of the names that the text holds.
    pub(super) fn found_in<'a>(&'a self, text: &str) -> Option<&'a str> {
        words(text).find_map(|(place, word)| {
            let named = self.0.get(word)?.iter().find(|named| {
                let start = place.checked_sub(named.before);
                start.is_some_and(|start| {
                    let there = text
                        .get(start..)
                        .is_some_and(|rest| rest.starts_with(&named.name));
                    there && stands_alone(text, start, &named.name)
                })
            });
            named.map(|named| named.name.as_str())
        })
    }
}

fn is_telling(name: &str) -> bool {
    let letters = name.chars().count();
    match letters {
        0..4 => false,
        _ if name.chars().all(|c| c.is_ascii_digit()) => letters >= 6,
        _ if name.chars().any(|c| c.is_numeric()) => true,
        _ => letters >= 12,
    }
}

/// Not within a longer word, and not the digits before or after a decimal point.
fn stands_alone(text: &str, start: usize, name: &str) -> bool {
    let after = &text[start + name.len()..];
    let mut next = after.chars();
    let follows = next.next();
    if name.ends_with(char::is_alphanumeric) && follows.is_some_and(char::is_alphanumeric)
        || name.starts_with(char::is_alphanumeric) && text[..start].ends_with(char::is_alphanumeric)
    {
        return false;
    }
    if !name.chars().all(|c| c.is_ascii_digit()) {
        return true;
    }
    let digit = |c: Option<char>| c.is_some_and(|c| c.is_ascii_digit());
    let fraction_before = text[..start].ends_with('.') && digit(text[..start].chars().rev().nth(1));
    let fraction_after = follows == Some('.') && digit(next.next());
    !(fraction_before || fraction_after)
}

/// Runs of letters and digits, with the place of each.
fn words(text: &str) -> impl Iterator<Item = (usize, &str)> {
    let mut place = 0;
    std::iter::from_fn(move || {
        let start = place + text[place..].find(char::is_alphanumeric)?;
        let rest = &text[start..];
        let length = rest
            .find(|c: char| !c.is_alphanumeric())
            .unwrap_or(rest.len());
        place = start + length;
        Some((start, &rest[..length]))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(names: &[&str], public: &[&str]) -> PrivateNames {
        let set = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect();
        PrivateNames::of(&set(names), &set(public))
    }

    #[test]
    fn a_name_is_found_as_a_word_of_its_own_and_not_within_another() {
        let private = names(&["F-000123", "obs-0123", "north field 7", "#A1B2"], &[]);
        for (text, found) in [
            ("seen in F-000123.", Some("F-000123")),
            ("\"F-000123\"", Some("F-000123")),
            ("F-0001234", None),
            ("XF-000123", None),
            ("the north field 7, yes", Some("north field 7")),
            ("north field 70", None),
            ("north", None),
            ("#A1B2", Some("#A1B2")),
            ("", None),
        ] {
            assert_eq!(private.found_in(text), found, "{text}");
        }
    }

    #[test]
    fn figures_and_common_words_are_no_names() {
        let private = names(
            &[
                "north", "2026", "12345", "123456", "46013", "A1", "46013-1", "2026-W30",
            ],
            &["46013", "2026-W30"],
        );
        for text in [
            "north 2026 12345 46013 A1 2026-W30",
            "0.123456",
            "123456.25",
            "1123456",
        ] {
            assert_eq!(private.found_in(text), None, "{text}");
        }
        assert_eq!(private.found_in("field 123456"), Some("123456"));
        assert_eq!(private.found_in("46013-1"), Some("46013-1"));
    }

    #[test]
    fn a_hundred_thousand_names_in_a_megabyte_take_no_time_to_speak_of() {
        let many: BTreeSet<String> = (0..100_000)
            .map(|number| format!("F-{number:06}"))
            .collect();
        let private = PrivateNames::of(&many, &BTreeSet::new());
        let text = "F is no field, nor is F-1 or 0.123456; ".repeat(25_000);
        assert_eq!(private.found_in(&text), None);
        assert_eq!(private.found_in(&(text + "F-099999")), Some("F-099999"));
    }
}
