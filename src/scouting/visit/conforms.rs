//! What the schema asks of a visit beyond its types: lengths, ranges and formats.
//!
//! What the trade asks beyond the schema is in [`super::rules`].

use super::record::{
    AMOUNT_MAX, COUNT_MAX, COUNTS_OF_HEAD_MAX, Economics, Field, ITEMS_MAX, NIGHTS_MAX, Outline,
    REMARKS_LENGTH_MAX, Site, TEXT_LENGTH_MAX, Visit,
};

impl Visit {
    /// Whether the visit keeps what the schema asks beyond types: lengths, ranges, formats.
    pub fn conforms(&self) -> bool {
        self.schema_version == "1.0"
            && text(&self.visit_id)
            && (1..=COUNT_MAX).contains(&self.revision)
            && date(&self.observed_on)
            && date_time(&self.submitted_at)
            && text(&self.observer_id)
            && self.field.conforms()
            && text(&self.protocol)
            && text(&self.crop_stage)
            && self.economics.conforms()
            && items(self.sites.len())
            && self.sites.iter().all(Site::conforms)
            && self.remarks.as_deref().is_none_or(remarks)
    }
}

impl Field {
    fn conforms(&self) -> bool {
        text(&self.field_id)
            && longitude(self.lon)
            && latitude(self.lat)
            && amount(self.area_ha)
            && text(&self.crop_type)
            && self.farm_id.as_deref().is_none_or(text)
            && self.county_id.as_deref().is_none_or(text)
            && self.outline.as_ref().is_none_or(Outline::conforms)
    }
}

impl Outline {
    fn conforms(&self) -> bool {
        self.kind == "Polygon"
            && items(self.coordinates.len())
            && self.coordinates.iter().all(|ring| {
                (4..=ITEMS_MAX).contains(&ring.len())
                    && ring
                        .iter()
                        .all(|&[lon, lat]| longitude(lon) && latitude(lat))
            })
    }
}

impl Economics {
    /// Whether the amounts that are given keep what the schema asks beyond types.
    pub fn conforms(&self) -> bool {
        let cost = self.treatment_cost.as_ref();
        let value = self.market_value.as_ref();
        let plants = self.plant_population.as_ref();
        cost.is_none_or(|cost| amount(cost.amount) && currency(&cost.currency))
            && value.is_none_or(|value| amount(value.amount) && currency(&value.currency))
            && plants.is_none_or(|plants| amount(plants.count))
    }
}

impl Site {
    fn conforms(&self) -> bool {
        let counts_conform = match (&self.heads, &self.plants, &self.traps) {
            (Some(heads), None, None) => {
                items(heads.len())
                    && heads
                        .iter()
                        .all(|head| (1..=COUNTS_OF_HEAD_MAX).contains(&head.len()))
                    && heads.counts().iter().all(|count| count.0 <= COUNT_MAX)
            }
            (None, Some(plants), None) => {
                items(plants.len()) && plants.iter().all(|count| count.0 <= COUNT_MAX)
            }
            (None, None, Some(traps)) => {
                items(traps.len())
                    && traps.iter().all(|trap| {
                        trap.catch.0 <= COUNT_MAX && (1..=NIGHTS_MAX).contains(&trap.nights)
                    })
            }
            _ => false,
        };
        counts_conform
            && (1..=COUNT_MAX).contains(&self.site)
            && self.side.as_deref().is_none_or(text)
            && self.lon.is_some() == self.lat.is_some()
            && self.lon.is_none_or(longitude)
            && self.lat.is_none_or(latitude)
    }
}

fn text(value: &str) -> bool {
    let length = value.chars().count();
    (1..=TEXT_LENGTH_MAX).contains(&length)
        && !value.chars().any(is_control)
        && !value.starts_with(' ')
        && !value.ends_with(' ')
}

fn remarks(value: &str) -> bool {
    value.chars().count() <= REMARKS_LENGTH_MAX
        && !value
            .chars()
            .any(|c| is_control(c) && !matches!(c, '\n' | '\r' | '\t'))
}

fn is_control(c: char) -> bool {
    matches!(c, '\u{0}'..='\u{1f}' | '\u{7f}'..='\u{9f}')
}

fn longitude(value: f64) -> bool {
    (-180.0..=180.0).contains(&value)
}

fn latitude(value: f64) -> bool {
    (-90.0..=90.0).contains(&value)
}

fn amount(value: f64) -> bool {
    value > 0.0 && value <= AMOUNT_MAX
}

fn items(length: usize) -> bool {
    (1..=ITEMS_MAX).contains(&length)
}

fn currency(value: &str) -> bool {
    value.len() == 3 && value.bytes().all(|b| b.is_ascii_uppercase())
}

/// `YYYY-MM-DD`, a day that exists, in the years 1000 to 2999.
fn date(value: &str) -> bool {
    let bytes = value.as_bytes();
    let pattern = bytes.len() == 10
        && matches!(bytes[0], b'1' | b'2')
        && bytes.iter().enumerate().all(|(place, byte)| match place {
            4 | 7 => *byte == b'-',
            _ => byte.is_ascii_digit(),
        });
    pattern && value.parse::<jiff::civil::Date>().is_ok()
}

/// RFC 3339 with capital `T` and `Z`, no leap second, up to nine decimals of a second.
fn date_time(value: &str) -> bool {
    let Some((day, rest)) = value.split_once('T') else {
        return false;
    };
    let Some((time, tail)) = rest.split_at_checked(8) else {
        return false;
    };
    date(day) && clock(time, true) && zone(tail.strip_prefix('.').map_or(Some(tail), fraction))
}

/// What follows the decimals of a second; `None` if there are none or too many.
fn fraction(decimals: &str) -> Option<&str> {
    let digits = decimals.bytes().take_while(u8::is_ascii_digit).count();
    (1..=9).contains(&digits).then(|| &decimals[digits..])
}

fn zone(value: Option<&str>) -> bool {
    match value {
        Some("Z") => true,
        Some(offset) => offset
            .strip_prefix(['+', '-'])
            .is_some_and(|hours_minutes| clock(hours_minutes, false)),
        None => false,
    }
}

/// `HH:MM` or `HH:MM:SS`.
fn clock(value: &str, seconds: bool) -> bool {
    let parts: Vec<&str> = value.split(':').collect();
    let two_digits = |part: &str, below: u8| {
        part.len() == 2
            && part.bytes().all(|b| b.is_ascii_digit())
            && part.parse::<u8>().is_ok_and(|n| n < below)
    };
    parts.len() == if seconds { 3 } else { 2 }
        && two_digits(parts[0], 24)
        && parts[1..].iter().all(|part| two_digits(part, 60))
}
