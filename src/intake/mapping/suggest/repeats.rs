//! Columns that repeat, as `S1H1B1` or `Site 1 Bud 2 Bract 3`: which of their numbers is the site, the head and the bract.

use super::known_headers::{LETTERS_MAX, plain, words};

/// Shapes that are kept; a hostile sheet may have a thousand.
const SHAPES_MAX: usize = 64;

/// What the number of a header counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Level {
    Site,
    Head,
    Bract,
    Plant,
    Trap,
}

/// Words and letters before a number, without accents: English, French and Spanish; common practice, no source.
const LEVELS: &[(Level, &[&str])] = &[
    (
        Level::Site,
        &[
            "s",
            "site",
            "stop",
            "st",
            "loc",
            "location",
            "station",
            "point",
            "sitio",
            "punto",
            "parada",
            "arret",
            "emplacement",
        ],
    ),
    (
        Level::Head,
        &[
            "h", "head", "bud", "c", "capitule", "capitulo", "cabeza", "tete", "bouton", "boton",
        ],
    ),
    (Level::Bract, &["b", "br", "bract", "bractee", "bractea"]),
    (Level::Plant, &["p", "pl", "plant", "plante", "planta"]),
    (Level::Trap, &["t", "tr", "trap", "piege", "trampa"]),
];

/// A header with numbers in it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Shape {
    /// What is before each number, and what the number counts.
    pub steps: Vec<(String, Option<Level>)>,
    /// What comes after the last number.
    pub end: String,
}

/// Columns of one shape.
#[derive(Debug, Clone)]
pub(super) struct Repeat {
    pub shape: Shape,
    /// Places of the columns, and the first name.
    pub places: Vec<usize>,
    pub first: String,
}

/// The shape of a header with one to three numbers.
pub(super) fn shape_of(header: &str) -> Option<Shape> {
    if header.len() > LETTERS_MAX {
        return None;
    }
    let mut steps = Vec::new();
    let mut rest = header;
    while let Some(start) = rest.find(|letter: char| letter.is_ascii_digit()) {
        let before = &rest[..start];
        let digits = rest[start..].find(|letter: char| !letter.is_ascii_digit());
        let end = digits.map_or(rest.len(), |digits| start + digits);
        steps.push((before.to_owned(), level_of(before)));
        rest = &rest[end..];
    }
    let has_word = steps
        .first()
        .is_some_and(|(before, _)| before.chars().any(char::is_alphabetic));
    ((1..=3).contains(&steps.len()) && has_word).then(|| Shape {
        steps,
        end: rest.to_owned(),
    })
}

fn level_of(before: &str) -> Option<Level> {
    let words = words(&plain(before));
    let last = words.rsplit(' ').next().unwrap_or_default();
    let known = LEVELS.iter().find(|(_, words)| words.contains(&last));
    known.map(|(level, _)| *level)
}

impl Shape {
    /// What its numbers count, if all of it is known. `B` may be short for bud: it is one where nothing else is a head.
    pub(super) fn levels(&self) -> Option<Vec<Level>> {
        let levels: Option<Vec<Level>> = self.steps.iter().map(|(_, level)| *level).collect();
        let levels = levels?;
        // Three numbers are site, head and bract, whatever letter is first: P1H1B1.
        let levels = match levels.as_slice() {
            [_, Level::Head, Level::Bract] => vec![Level::Site, Level::Head, Level::Bract],
            _ => levels,
        };
        levels
            .windows(2)
            .all(|pair| pair[0] < pair[1])
            .then_some(levels)
    }

    /// What the text after the last number says, as known headers do.
    pub(super) fn end_words(&self) -> String {
        words(&plain(&self.end))
    }

    /// Whether it is only a letter that says what the last number counts.
    pub(super) fn ends_in_letter(&self) -> bool {
        let last = self.steps.last().map(|(before, _)| words(&plain(before)));
        last.is_some_and(|last| last.chars().count() == 1)
    }

    /// A pattern for headers of this shape, with the groups that the numbers fill.
    pub(super) fn pattern(&self, groups: &[&str]) -> String {
        let steps = self.steps.iter().zip(groups);
        let steps: String = steps
            .map(|((before, _), group)| format!("{}(?<{group}>[0-9]+)", literal(before)))
            .collect();
        format!("(?i)^{steps}{}$", literal(&self.end))
    }

    fn is_like(&self, other: &Shape) -> bool {
        let bare = |text: &str| plain(text).split_whitespace().collect::<String>();
        let befores = |shape: &Shape| -> Vec<String> {
            shape.steps.iter().map(|(before, _)| bare(before)).collect()
        };
        befores(self) == befores(other) && bare(&self.end) == bare(&other.end)
    }
}

/// A text as a pattern that takes any spaces for those in it.
fn literal(text: &str) -> String {
    let words: Vec<String> = text.split_whitespace().map(regex::escape).collect();
    let spaced = |is: bool| if is { r"\s*" } else { "" };
    let starts = text.starts_with(char::is_whitespace);
    let ends = text.ends_with(char::is_whitespace) && !words.is_empty();
    format!("{}{}{}", spaced(starts), words.join(r"\s+"), spaced(ends))
}

/// The columns that repeat, by their shapes, in the order of the sheet.
pub(super) fn repeats<'a>(headers: impl Iterator<Item = (usize, &'a str)>) -> Vec<Repeat> {
    let mut found: Vec<Repeat> = Vec::new();
    for (place, name) in headers {
        let Some(shape) = shape_of(name) else {
            continue;
        };
        let known = found.iter().position(|repeat| repeat.shape.is_like(&shape));
        match known {
            Some(known) => found[known].places.push(place),
            None if found.len() == SHAPES_MAX => {}
            None => found.push(Repeat {
                shape,
                places: vec![place],
                first: name.to_owned(),
            }),
        }
    }
    // One column is no repetition, unless it says two of site, head and bract.
    found.retain(|repeat| {
        repeat.places.len() > 1 || repeat.shape.levels().is_some_and(|levels| levels.len() > 1)
    });
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use regex::Regex;

    #[test]
    fn shapes_say_what_their_numbers_count() {
        use Level::{Bract, Head, Plant, Site, Trap};
        let cases: [(&str, Option<Vec<Level>>, &str); 13] = [
            ("S1H1B1", Some(vec![Site, Head, Bract]), "S2h10B3"),
            (
                "Site 1 Bud 2 Bract 3",
                Some(vec![Site, Head, Bract]),
                "Site 12  bud 1 Bract 3",
            ),
            ("S1-H2-B3", Some(vec![Site, Head, Bract]), "S2-H2-B3"),
            ("P1C2B3", Some(vec![Site, Head, Bract]), "P1C9B3"),
            ("Bud 1", Some(vec![Head]), "bud12"),
            ("B1", Some(vec![Bract]), "B6"),
            ("Bract #1", Some(vec![Bract]), "Bract #2"),
            ("Capítulo 3", Some(vec![Head]), "Capítulo 4"),
            ("Plant 3 eggs", Some(vec![Plant]), "Plant 4 eggs"),
            ("Trap 2 nights", Some(vec![Trap]), "Trap 9 nights"),
            ("S1 side", Some(vec![Site]), "S2 side"),
            ("Count 1", None, "Count 2"),
            ("B1S1", None, "B1S2"),
        ];
        for (header, levels, other) in cases {
            let shape = shape_of(header).unwrap_or_else(|| panic!("{header} has no shape"));
            assert_eq!(shape.levels(), levels, "{header}");
            let groups = ["site", "head", "bract"];
            let pattern = shape.pattern(&groups[..shape.steps.len()]);
            let regex = Regex::new(&pattern).expect("a pattern");
            assert!(regex.is_match(header) && regex.is_match(other), "{pattern}");
        }
        for none in ["", "Eggs", "2026", "1-2-3", "a1b2c3d4"] {
            assert_eq!(shape_of(none), None, "{none}");
        }
    }
}
