//! Whether the numbers of a note name the place of a field: a latitude and a longitude near a private point.
//!
//! Decimal degrees with a point or a comma, and degrees with minutes and seconds. A number is taken for a
//! coordinate by itself if a degree sign, a direction or a word such as "lat" is with it, or if it has three or more
//! decimals; whole degrees are not, as one is more than twice as high as the widest cell of the grid. The hemisphere
//! is taken from the field: a note that leaves the sign out names the place all the same.

use std::collections::{HashMap, HashSet};
use std::ops::RangeInclusive;
use std::sync::LazyLock;

use regex::{Captures, Regex};
use unicode_normalization::UnicodeNormalization;
use unicode_security::confusable_detection::skeleton;

use super::folding::digit_of_any_script;
use scouting::region::distance::meters_between;

/// Decimals from which a number is taken for a coordinate by itself: three are about 100 m. Our choice: figures of
/// alerts and prices have two at most.
const DECIMALS_TELLING: usize = 3;
/// A number that is no coordinate by itself is looked at with the telling numbers at most so many places from it.
const NUMBERS_APART_MAX: usize = 3;
/// Two numbers that are none by themselves are looked at if at most so many characters, none of them a letter or
/// digit, part them, and each has two decimals.
const PAIR_GAP_MAX: usize = 4;
/// Longest word with its marks that is looked for next to a number, bytes.
const WORD_BYTES_MAX: usize = 24;
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

/// The points of fields by the cell that they are in, all signs left out, and how near is near.
#[derive(Debug)]
pub(super) struct PrivatePoints {
    cells: HashMap<(i32, i32), Vec<(f64, f64)>>,
    lat_cells: HashSet<i32>,
    lon_cells: HashSet<i32>,
    /// The latitude of the point nearest to a pole, where a kilometer has the most degrees of longitude.
    highest: f64,
    km: f64,
}

impl PrivatePoints {
    /// The points (longitude, latitude, degrees), and within how many kilometers of one a place is near it.
    pub(super) fn of(points: &[(f64, f64)], km: f64) -> PrivatePoints {
        let mut index = PrivatePoints {
            cells: HashMap::new(),
            lat_cells: HashSet::new(),
            lon_cells: HashSet::new(),
            highest: points.iter().map(|point| point.1.abs()).fold(0.0, f64::max),
            km,
        };
        for (lon, lat) in points {
            let (row, column) = (index.cell(lat.abs()), index.cell(lon.abs()));
            index
                .cells
                .entry((row, column))
                .or_default()
                .push((*lon, *lat));
            index.lat_cells.insert(row);
            index.lon_cells.insert(column);
        }
        index
    }

    /// The first two numbers of a text that name a place near one of the points.
    pub(super) fn named_in(&self, text: &str) -> Option<NamedPlace> {
        if self.cells.is_empty() {
            return None;
        }
        let text = plain_numbers(text);
        let numbers = numbers_of(&text);
        // Most numbers are neither a latitude nor a longitude of any field.
        let likely: Vec<[bool; 2]> = numbers
            .iter()
            .map(|number| self.may_be_lat_or_lon(number.degrees))
            .collect();
        for (place, one) in numbers.iter().enumerate() {
            if likely[place] == [false; 2] {
                continue;
            }
            for (apart, other) in (1..).zip(&numbers[place + 1..]) {
                let ([one_lat, one_lon], [other_lat, other_lon]) =
                    (likely[place], likely[place + apart]);
                let ways = [
                    (one_lat && other_lon).then_some((one, other)),
                    (other_lat && one_lon).then_some((other, one)),
                ];
                if ways == [None; 2] || !may_be_a_pair(&text, one, other, apart) {
                    continue;
                }
                let near = ways
                    .into_iter()
                    .flatten()
                    .filter_map(|(lat, lon)| self.nearest_km(lat.degrees, lon.degrees));
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

    /// As high as what is near, degrees of latitude.
    fn reach(&self) -> f64 {
        self.km / KM_PER_DEGREE
    }

    fn cell(&self, degrees: f64) -> i32 {
        (degrees / self.reach()).floor() as i32
    }

    /// The cells within reach of a latitude, or of a longitude at a latitude.
    fn cells_near(&self, degrees: f64, at_lat: f64) -> RangeInclusive<i32> {
        // Beyond 85 degrees nothing is grown.
        let reach = self.reach() / at_lat.min(85.0).to_radians().cos();
        self.cell(degrees - reach)..=self.cell(degrees + reach)
    }

    fn may_be_lat_or_lon(&self, degrees: f64) -> [bool; 2] {
        let has = |cells: &HashSet<i32>, mut near: RangeInclusive<i32>| {
            near.any(|cell| cells.contains(&cell))
        };
        let lons = lons(degrees);
        [
            degrees <= 90.0 && has(&self.lat_cells, self.cells_near(degrees, 0.0)),
            lons.into_iter().any(|lon| {
                has(
                    &self.lon_cells,
                    self.cells_near(lon, self.highest + self.reach()),
                )
            }),
        ]
    }

    /// Kilometers to the nearest point that is near, whatever the signs.
    fn nearest_km(&self, lat: f64, lon: f64) -> Option<f64> {
        let mut nearest: Option<f64> = None;
        for lon in lons(lon) {
            for row in self.cells_near(lat, 0.0) {
                for column in self.cells_near(lon, lat) {
                    for point in self.cells.get(&(row, column)).into_iter().flatten() {
                        let named = (lon.copysign(point.0), lat.copysign(point.1));
                        let away = meters_between(named, *point) / 1000.0;
                        if away <= self.km && nearest.is_none_or(|nearest| away < nearest) {
                            nearest = Some(away);
                        }
                    }
                }
            }
        }
        nearest
    }
}

/// A longitude without its sign, which may be counted from 0 to 360 degrees.
fn lons(degrees: f64) -> [f64; 2] {
    [degrees, (360.0 - degrees).abs()]
}

/// A number that may be a coordinate, without its sign.
#[derive(Debug, PartialEq)]
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

/// The bytes before a number that a word with it may take.
fn just_before(text: &str, start: usize) -> &str {
    &text[text.floor_char_boundary(start.saturating_sub(WORD_BYTES_MAX))..start]
}

fn in_sixtieths(text: &str, found: &Captures) -> Option<Number> {
    let whole = found.get(0)?;
    let part = |name: &str| found.name(name).and_then(|part| value(part.as_str()));
    let degrees = part("degrees")?;
    let (minutes, seconds) = (part("minutes")?, part("seconds").unwrap_or(0.0));
    let marked = ["before", "sign", "after"]
        .iter()
        .any(|name| found.name(name).is_some())
        || WORD_BEFORE.is_match(just_before(text, whole.start()));
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
    let before = just_before(text, start);
    let after = &text[end..text.ceil_char_boundary(end + WORD_BYTES_MAX)];
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

    /// Two invented fields, and what is within so many kilometers of them.
    fn points(km: f64) -> PrivatePoints {
        PrivatePoints::of(&[(-100.123_45, 44.123_45), (23.456_7, -33.987_6)], km)
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
            let found = points(10.0).named_in(text);
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
            assert_eq!(points(10.0).named_in(text), None, "{text}");
        }
        let nothing = PrivatePoints::of(&[], 10.0);
        assert_eq!(nothing.named_in("44.1234 100.1234"), None);
    }

    #[test]
    fn what_is_near_depends_on_the_grid() {
        // 0.15 degrees of latitude are 16.7 km.
        let text = "44.27345 N, 100.12345 W";
        assert_eq!(points(10.0).named_in(text), None);
        let found = points(20.0).named_in(text).expect("nearer than 20 km");
        assert!((16.0..17.0).contains(&found.away_km), "{found:?}");
        assert_eq!(found.numbers, ["44.27345", "100.12345"]);
    }

    /// The fields of a whole state, and a note of nothing but numbers that are nearly those of one.
    #[test]
    fn a_note_full_of_numbers_is_judged_soon() {
        let fields: Vec<(f64, f64)> = (0..100_000)
            .map(|field| {
                let (row, column) = (f64::from(field / 400), f64::from(field % 400));
                (-104.0 + 0.01 * column, 43.0 + 0.01 * row)
            })
            .collect();
        let points = PrivatePoints::of(&fields, 10.0);
        let note: String = (0..1_400)
            .map(|number| format!("{}.123 9{}.12 ", 43 + number % 3, number % 5))
            .collect();
        let start = std::time::Instant::now();
        assert_eq!(points.named_in(&note), None);
        let note: String = (0..1_400)
            .map(|number| format!("{}.1234 99.5{:02} ", 43 + number % 3, number % 100))
            .collect();
        assert_eq!(points.named_in(&note), None);
        assert!(start.elapsed().as_secs() < 20, "{:?}", start.elapsed());
        assert!(points.named_in(&format!("{note} 100.1234")).is_some());
    }
}
