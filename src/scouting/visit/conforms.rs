//! What the schema asks of a visit beyond its types: lengths and ranges.
//!
//! What the trade asks beyond the schema is in [`super::rules`].

use super::record::{
    AMOUNT_MAX, COUNT_MAX, COUNTS_OF_HEAD_MAX, Economics, Field, ITEMS_MAX, NIGHTS_MAX, Outline,
    REMARKS_LENGTH_MAX, Site, TEXT_LENGTH_MAX, Visit,
};

impl Visit {
    /// Whether the visit keeps what the schema asks beyond types: lengths and ranges.
    pub fn conforms(&self) -> bool {
        self.schema_version == "1.0"
            && text(&self.visit_id)
            && (1..=COUNT_MAX).contains(&self.revision)
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
            && self.lon.is_none_or(longitude)
            && self.lat.is_none_or(latitude)
            && self.lon.is_some() == self.lat.is_some()
            && (self.lon.is_some() || self.county_id.is_some())
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
