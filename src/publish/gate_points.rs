//! Whether the numbers of a note name the place of a field: a latitude and a longitude near a private point.
//!
//! Decimal degrees with a point or a comma, and degrees with minutes and seconds. A number is taken for a
//! coordinate by itself if a degree sign, a direction or a word such as "lat" is with it, or if it has three or more
//! decimals; whole degrees are not, as one is more than twice as high as the widest cell of the grid. The hemisphere
//! is taken from the field: a note that leaves the sign out names the place all the same.

use std::sync::LazyLock;

use regex::{Captures, Regex};
use unicode_normalization::UnicodeNormalization;
use unicode_security::confusable_detection::skeleton;

use super::gate_folding::digit_of_any_script;
use crate::region::distance::metres_between;

/// Decimals from which a number is taken for a coordinate by itself: three are about 100 m. Our choice: figures of
/// alerts and prices have two at most.
const DECIMALS_TELLING: usize = 3;
/// A number that is no coordinate by itself is looked at with the telling numbers at most so many places from it.
const NUMBERS_APART_MAX: usize = 3;
/// Two numbers that are none by themselves are looked at if at most so many characters, none of them a letter or
/// digit, part them, and each has two decimals.
const PAIR_GAP_MAX: usize = 4;
/// Kilometers of a degree of latitude, rounded down.
const KM_PER_DEGREE: f64 = 110.5;

/// What of a note names a place, and how far it is from a field's point.
#[derive(Debug, PartialEq)]
pub(super) struct NamedPlace {
    /// The two numbers as the note has them, but for marks that are not seen.
    pub(super) numbers: [String; 2],
    /// Kilometers to the nearest of the points.
    pub(super) away_km: f64,
}

/// The points of fields, sorted by latitude.
#[derive(Debug, Default)]
pub(super) struct PrivatePoints(Vec<(f64, f64)>);

impl PrivatePoints {
    /// The points (longitude, latitude, degrees).
    pub(super) fn of(points: &[(f64, f64)]) -> PrivatePoints {
        let mut points = points.to_vec();
        points.sort_by(|one, other| one.1.total_cmp(&other.1));
        PrivatePoints(points)
    }

    /// The first two numbers of a text that name a place within `km` of one of the points.
    pub(super) fn named_in(&self, text: &str, km: f64) -> Option<NamedPlace> {
        if self.0.is_empty() {
            return None;
        }
        let text = plain_numbers(text);
        let numbers = numbers_of(&text);
        for (place, one) in numbers.iter().enumerate() {
            for (apart, other) in (1..).zip(&numbers[place + 1..]) {
                if !may_be_a_pair(&text, one, other, apart) {
                    continue;
                }
                let ways = [(one, other), (other, one)];
                let near = ways
                    .iter()
                    .filter_map(|(lat, lon)| self.nearest_km(lat.degrees, lon.degrees, km));
                if let Some(away_km) = near.min_by(f64::total_cmp) {
                    let words = |number: &Number| text[number.start..number.end].trim().to_owned();
                    return Some(NamedPlace {
                        numbers: [words(one), words(other)],
                        away_km,
                    });
                }
            }
        }
        None
    }

    /// Kilometers to the nearest point within `km`, whatever the signs; a longitude may be counted to 360 degrees.
    fn nearest_km(&self, lat: f64, lon: f64, km: f64) -> Option<f64> {
        if lat > 90.0 || lon > 360.0 {
            return None;
        }
        let reach = km / KM_PER_DEGREE;
        let in_band = |lat: f64| {
            let from = self.0.partition_point(|point| point.1 < lat - reach);
            let band = self.0[from..].iter();
            band.take_while(move |point| point.1 <= lat + reach)
        };
        let points = in_band(lat).chain(in_band(-lat));
        let away = points.map(|point| {
            let lat = lat.copysign(point.1);
            let lons = [lon, -lon, lon - 360.0];
            let away = lons.map(|lon| metres_between((lon, lat), *point) / 1000.0);
            away.into_iter().fold(f64::INFINITY, f64::min)
        });
        away.filter(|away| *away <= km).min_by(f64::total_cmp)
    }
}

/// A number that may be a coordinate, without its sign.
#[derive(Debug)]
struct Number {
    degrees: f64,
    /// Bytes of the text.
    start: usize,
    end: usize,
    decimals: usize,
    /// Whether it is taken for a coordinate by itself.
    is_telling: bool,
}

fn may_be_a_pair(text: &str, one: &Number, other: &Number, apart: usize) -> bool {
    // Of one number read with a point and with a comma, one reading is enough.
    if other.start < one.end {
        return false;
    }
    match (one.is_telling, other.is_telling) {
        (true, true) => true,
        (true, false) | (false, true) => apart <= NUMBERS_APART_MAX,
        (false, false) => {
            let between = &text[one.end..other.start];
            one.decimals >= 2
                && other.decimals >= 2
                && between.chars().count() <= PAIR_GAP_MAX
                && !between.contains(char::is_alphanumeric)
        }
    }
}

/// The text with ASCII digits, one kind of dash, degree sign, minute and second, and nothing that is not seen.
fn plain_numbers(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '°' | 'º' | '˚' | '⁰' => plain.push('°'),
            '′' | '’' | '‘' | 'ʹ' | '´' | '`' | 'ʼ' => plain.push('\''),
            '″' | '”' | '“' | 'ʺ' => plain.push('"'),
            '·' | '٫' | '‧' | '∙' | '⋅' => plain.push('.'),
            '\u{2010}'..='\u{2015}' | '\u{2212}' | '\u{fe63}' => plain.push('-'),
            c if c.is_ascii() => plain.push(c),
            c => c.nfkd().for_each(|c| match digit_of_any_script(c) {
                Some(digit) => plain.push(digit),
                None if c.is_ascii() => plain.push(c),
                None => plain.extend(skeleton(c.encode_utf8(&mut [0; 4]))),
            }),
        }
    }
    plain
}

/// Degrees with minutes, and perhaps seconds; directions before or after.
static SIXTIETHS: LazyLock<Regex> = LazyLock::new(|| {
    Regex::new(
        r#"(?xi)
        (?P<before> \b(?:north|south|east|west|[nsewo]) \s* )?
        (?P<degrees> [0-9]{1,3} )
        (?: \s* (?P<sign> ° | deg(?:rees?)?\b | d ) \s* | \s+ | [:\-] )
        (?P<minutes> [0-9]{1,2} (?: [.,] [0-9]+ )? )
        (?: \s* (?: ' | min(?:utes?)?\b | m\b | : | - ) \s* | \s+ )?
        (?: (?P<seconds> [0-9]{1,2} (?: [.,] [0-9]+ )? ) \s* (?: " | '' | sec(?:onds?)?\b )? )?
        \s* (?P<after> \b(?:north|south|east|west|[nsewo])\b | [nsewo]\b )?
        "#,
    )
    .expect("the pattern is a literal of ours")
});
/// Decimal degrees, by the mark before their decimals.
static DECIMALS: LazyLock<[Regex; 2]> = LazyLock::new(|| {
    [r"[0-9]{1,3}\.[0-9]+", r"[0-9]{1,3},[0-9]+"]
        .map(|pattern| Regex::new(pattern).expect("the pattern is a literal of ours"))
});
/// What makes the number after it a coordinate.
static WORD_BEFORE: LazyLock<Regex> = LazyLock::new(|| {
    let words = r"(?i)(?:(?:lat(?:itude)?|lon(?:g(?:itude)?)?|lng|\b(?:north|south|east|west|[nsewo]|[xy]))\b|\b[nsew])[\s:=('\x22-]*$";
    Regex::new(words).expect("the pattern is a literal of ours")
});
/// What makes the number before it a coordinate.
static WORD_AFTER: LazyLock<Regex> = LazyLock::new(|| {
    let words = r"(?i)^(?:\s*(?:°|deg(?:rees?)?\b)(?:\s*[nsewo]\b)?|\s*(?:north|south|east|west|[nsewo])\b|\s*(?:lat|lon))";
    Regex::new(words).expect("the pattern is a literal of ours")
});
/// What makes the number before it something else: a share, or a temperature.
static OTHER_AFTER: LazyLock<Regex> = LazyLock::new(|| {
    Regex::new(r"(?i)^\s*(?:%|per\s?cent|°?\s*[cf]\b|degrees?\s+[cf]|degree-days)")
        .expect("the pattern is a literal of ours")
});

/// The numbers of a text that may be coordinates, in order.
fn numbers_of(text: &str) -> Vec<Number> {
    let mut numbers: Vec<Number> = SIXTIETHS
        .captures_iter(text)
        .filter_map(|found| in_sixtieths(text, &found))
        .collect();
    for decimals in DECIMALS.iter() {
        let found = decimals.find_iter(text);
        numbers.extend(found.filter_map(|found| in_decimals(text, found.start(), found.end())));
    }
    numbers.sort_by_key(|number| number.start);
    numbers
}

fn value(digits: &str) -> Option<f64> {
    digits.replace(',', ".").parse().ok()
}

fn in_sixtieths(text: &str, found: &Captures) -> Option<Number> {
    let whole = found.get(0)?;
    let part = |name: &str| found.name(name).and_then(|part| value(part.as_str()));
    let degrees = part("degrees")?;
    let (minutes, seconds) = (part("minutes")?, part("seconds").unwrap_or(0.0));
    let marked = ["before", "sign", "after"]
        .iter()
        .any(|name| found.name(name).is_some())
        || WORD_BEFORE.is_match(&text[..whole.start()]);
    // Digits before it are the rest of another number.
    let is_rest = text[..whole.start()].ends_with(|c: char| c.is_ascii_digit() || ".,".contains(c));
    (marked && !is_rest && minutes < 60.0 && seconds < 60.0).then(|| Number {
        degrees: degrees + minutes / 60.0 + seconds / 3600.0,
        start: whole.start(),
        end: whole.end(),
        decimals: DECIMALS_TELLING,
        is_telling: true,
    })
}

fn in_decimals(text: &str, start: usize, end: usize) -> Option<Number> {
    let (before, after) = (&text[..start], &text[end..]);
    let digits = &text[start..end];
    if before.ends_with(|c: char| c.is_ascii_digit()) || OTHER_AFTER.is_match(after) {
        return None;
    }
    let decimals = digits.len() - digits.find(['.', ','])? - 1;
    // 44,100 is a number of thousands to most of its readers.
    let by_decimals = decimals >= DECIMALS_TELLING && !(decimals == 3 && digits.contains(','));
    let marked = WORD_BEFORE.is_match(before) || WORD_AFTER.is_match(after);
    Some(Number {
        degrees: value(digits)?,
        start,
        end,
        decimals,
        is_telling: by_decimals || marked,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two invented fields.
    fn points() -> PrivatePoints {
        PrivatePoints::of(&[(-100.123_45, 44.123_45), (23.456_7, -33.987_6)])
    }

    #[test]
    fn a_place_near_a_field_is_found_in_every_way_of_writing_it() {
        for text in [
            "44.12345, -100.12345",
            "44.1234 N 100.1234 W",
            "at -100.12345/44.12345",
            "44.12 / -100.12",
            "lat 44.1, lon -100.1",
            "latitude: 44.1234; we saw 3 moths and 7.5 eggs; longitude: 100.1234",
            "The latitude is 44.1234. In 12.5 acres 1.5 2.5 3.5 4.5 moths flew. The longitude is -100.1234.",
            "44,1234 N; 100,1234 W",
            "44,12345 -100,12345",
            "44.12345,-100.12345",
            "44.12345,100.12345",
            "44°07'24.4\"N 100°07'24.4\"W",
            "44°07′24.4″N, 100°07′24.4″W",
            "44º 07’ N 100º 07’ W",
            "N44 07.407 W100 07.407",
            "N 44 07 24, W 100 07 24",
            "44 07 24 N 100 07 24 W",
            "44:07:24N 100:07:24W",
            "44 deg 7 min 24 sec north, 100 deg 7 min 24 sec west",
            "44d07m N, 100d07m W",
            "44.1234\u{200b}5 \u{2212}100.1\u{2060}2345",
            "４４．１２３４ －１００．１２３４",
            "٤٤٫١٢٣٤ -١٠٠٫١٢٣٤",
            "44·1234 −100·1234",
            "44.1234 259.8766",
            "https://example.org/@44.12345,-100.12345,15z",
            "https://example.org/?q=44.12345+-100.12345",
            "https://example.org/?mlat=44.12&mlon=-100.12",
            "-33.9876, 23.4567",
            "33.9876 S 23.4567 E",
            "33.9876 23.4567",
        ] {
            let found = points().named_in(text, 10.0);
            assert!(found.is_some_and(|found| found.away_km < 10.0), "{text}");
        }
    }

    #[test]
    fn the_figures_of_an_alert_are_no_place() {
        for text in [
            "",
            "44 fields, 100 visits",
            "44, -100",
            "from 44.1 % to 100.1 %",
            "44.12 % and 100.12 % of heads",
            "between 44.1 and 100.1 moths",
            "44.1, 100.1",
            "44.1 acres at 100.12 a ton",
            "44,123 acres and 100,123 heads",
            "44.1 °F and 100.1 °F",
            "44.12 degrees F to 100.12 degrees F",
            "2026-08-12 07:24, 605-555-0123, 44-07-24",
            "7:44 12:30; 12-13 fields; R5.1",
            // Another place.
            "44.4 N 100.4 W",
            "45.12345, -100.12345",
            "44.12345, -101.12345",
        ] {
            assert_eq!(points().named_in(text, 10.0), None, "{text}");
        }
        assert_eq!(
            PrivatePoints::default().named_in("44.1234 100.1234", 10.0),
            None
        );
    }

    #[test]
    fn what_is_near_depends_on_the_grid() {
        // 0.15 degrees of latitude are 16.7 km.
        let text = "44.27345 N, 100.12345 W";
        assert_eq!(points().named_in(text, 10.0), None);
        let found = points().named_in(text, 20.0).expect("nearer than 20 km");
        assert!((16.0..17.0).contains(&found.away_km), "{found:?}");
        assert_eq!(found.numbers, ["44.27345", "100.12345"]);
    }
}
