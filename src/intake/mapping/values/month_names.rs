//! Names of months and days of the week in English, French, Spanish and German, and Roman months → the English names
//! that strptime's directives read. Common usage of the four languages.
//!
//! No name of a month in one of them is another month's in another, so that no mapping needs to state the language.

use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

/// January to December: the English name, and the others without accents. A word of three letters or more that begins
/// one of them, and only one, is that month.
const MONTHS: [(&str, &[&str]); 12] = [
    (
        "January",
        &["january", "janvier", "enero", "januar", "janner"],
    ),
    ("February", &["february", "fevrier", "febrero", "februar"]),
    ("March", &["march", "mars", "marzo", "marz", "maerz"]),
    ("April", &["april", "avril", "abril"]),
    ("May", &["may", "mai", "mayo"]),
    ("June", &["june", "juin", "junio", "juni"]),
    ("July", &["july", "juillet", "julio", "juli"]),
    ("August", &["august", "aout", "agosto"]),
    (
        "September",
        &["september", "septembre", "septiembre", "setiembre"],
    ),
    ("October", &["october", "octobre", "octubre", "oktober"]),
    ("November", &["november", "novembre", "noviembre"]),
    (
        "December",
        &["december", "decembre", "diciembre", "dezember"],
    ),
];

const ROMAN: [&str; 12] = [
    "i", "ii", "iii", "iv", "v", "vi", "vii", "viii", "ix", "x", "xi", "xii",
];

/// Monday to Sunday: the English name, and the others in full.
const WEEKDAYS: [(&str, &[&str]); 7] = [
    ("Monday", &["lundi", "lunes", "montag"]),
    ("Tuesday", &["mardi", "martes", "dienstag"]),
    ("Wednesday", &["mercredi", "miercoles", "mittwoch"]),
    ("Thursday", &["jeudi", "jueves", "donnerstag"]),
    ("Friday", &["vendredi", "viernes", "freitag"]),
    ("Saturday", &["samedi", "sabado", "samstag", "sonnabend"]),
    ("Sunday", &["dimanche", "domingo", "sonntag"]),
];

/// The endings of a day's number: 3rd, 1er, 3º.
const ORDINAL_ENDINGS: [&str; 8] = ["st", "nd", "rd", "th", "er", "º", "ª", "°"];

/// A date with the names that `format` asks for in English, as it asks for them, and without the endings of ordinals.
pub(in crate::mapping) fn in_english(text: &str, format: &str) -> String {
    let has = |directives: &[&str]| directives.iter().any(|one| format.contains(one));
    let (in_full, month) = (has(&["%B"]), has(&["%B", "%b", "%h"]));
    let weekday = has(&["%A", "%a"]);
    let mut written = String::new();
    let mut rest = text;
    while let Some(letter) = rest.chars().next() {
        if !letter.is_alphabetic() && !matches!(letter, '°' | 'º' | 'ª') {
            written.push(letter);
            rest = &rest[letter.len_utf8()..];
            continue;
        }
        let is_of_word =
            |letter: char| letter.is_alphabetic() || is_combining_mark(letter) || letter == '°';
        let end = rest
            .find(|letter| !is_of_word(letter))
            .unwrap_or(rest.len());
        let (word, after) = rest.split_at(end);
        rest = after;
        let key = without_accents(word);
        let after_digit = written.ends_with(|letter: char| letter.is_ascii_digit());
        if after_digit && ORDINAL_ENDINGS.contains(&word.to_lowercase().as_str()) {
            continue;
        }
        if let Some(name) = month_of(&key).filter(|_| month) {
            written += if in_full { name } else { &name[..3] };
            // The dot of a name that was cut, as in "juil."
            if !has(&["%b.", "%B."]) {
                rest = rest.strip_prefix('.').unwrap_or(rest);
            }
        } else if let Some(name) = weekday_of(&key).filter(|_| weekday) {
            written += if has(&["%A"]) { name } else { &name[..3] };
        } else {
            written += word;
        }
    }
    written
}

fn without_accents(word: &str) -> String {
    let plain = word.nfd().filter(|letter| !is_combining_mark(*letter));
    plain.flat_map(char::to_lowercase).collect()
}

/// The English name of a month, of which `word` is a name, its beginning, or its Roman number.
fn month_of(word: &str) -> Option<&'static str> {
    if let Some(place) = ROMAN.iter().position(|roman| *roman == word) {
        return Some(MONTHS[place].0);
    }
    if word.chars().count() < 3 {
        return None;
    }
    let mut found = MONTHS
        .iter()
        .filter(|(_, names)| names.iter().any(|name| name.starts_with(word)));
    match (found.next(), found.next()) {
        (Some((name, _)), None) => Some(name),
        _ => None,
    }
}

fn weekday_of(word: &str) -> Option<&'static str> {
    let mut days = WEEKDAYS.iter();
    let day =
        days.find(|(english, names)| names.contains(&word) || english.to_lowercase() == word)?;
    Some(day.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_name_is_that_of_two_months() {
        for (month, names) in MONTHS {
            for name in names {
                for end in 3..=name.len() {
                    let found = month_of(&name[..end]);
                    assert!(
                        found.is_none_or(|found| found == month),
                        "{}: {found:?}",
                        &name[..end]
                    );
                }
                assert_eq!(month_of(name), Some(month), "{name}");
            }
        }
        // Both begin so: which of the two it is nobody can say.
        assert_eq!(month_of("jui"), None);
        assert_eq!(
            (month_of("ma"), month_of("x3"), month_of("")),
            (None, None, None)
        );
    }

    #[test]
    fn names_become_those_that_the_format_reads() {
        for (text, format, english) in [
            ("3 août 2026", "%d %B %Y", "3 August 2026"),
            ("3 juil. 2026", "%d %b %Y", "3 Jul 2026"),
            (
                "3 de agosto de 2026",
                "%d de %B de %Y",
                "3 de August de 2026",
            ),
            ("3-ago-26", "%d-%b-%y", "3-Aug-26"),
            ("3. August 2026", "%d. %B %Y", "3. August 2026"),
            ("3. März 2026", "%d. %B %Y", "3. March 2026"),
            ("August 3rd, 2026", "%B %d, %Y", "August 3, 2026"),
            ("1er août 2026", "%d %B %Y", "1 August 2026"),
            ("lundi 3 août 2026", "%A %d %B %Y", "Monday 3 August 2026"),
            ("3.VIII.2026", "%d.%B.%Y", "3.August.2026"),
            ("Aug. 3", "%b. %d", "Aug. 3"),
            ("3 août 2026", "%d %m %Y", "3 août 2026"),
        ] {
            assert_eq!(in_english(text, format), english, "{text}");
        }
    }
}
