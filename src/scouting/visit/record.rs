//! The visit record, schema 1.0, as types.
//!
//! `schemas/visit.schema.json` is the public contract; these types are its fast twin. Reading
//! refuses unknown members, repeated members and `null`; what types cannot say is checked in
//! [`super::conforms`]. Whatever both accept, the schema accepts (`tests/schema.rs` holds us to it).

use jiff::civil::Date;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::count::Count;
use super::dates::{WrittenInstant, day, day_if_given};
use super::heads::{Heads, read_heads};
use super::reading::{Strict, present, whole};

/// The longest text of an id, a stage or a side, in characters.
pub const TEXT_LENGTH_MAX: usize = 200;
/// The longest remark, in characters.
pub const REMARKS_LENGTH_MAX: usize = 4_000;
/// The largest single count, and the largest revision.
pub const COUNT_MAX: u32 = 1_000_000;
/// The largest amount of money, plants or hectares that the schema takes.
pub const AMOUNT_MAX: f64 = 1e9;
/// The most sites of a visit, heads or plants or traps of a site, and rings or corners of an outline.
pub const ITEMS_MAX: usize = 10_000;
/// The most counts of a head.
pub const COUNTS_OF_HEAD_MAX: usize = 100;
/// The most trap-nights of the catch.
pub const NIGHTS_MAX: u32 = 366;

/// One scouting of one field on one day under one protocol.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(remote = "Self", deny_unknown_fields)]
pub struct Visit {
    /// Version of the schema: `1.0`.
    pub schema_version: String,
    /// Stable identity of the visit, the same in every revision.
    pub visit_id: String,
    /// 1 for the first submission, raised by one or more for each correction.
    #[serde(deserialize_with = "whole")]
    pub revision: u32,
    /// The visit date.
    #[serde(deserialize_with = "day")]
    pub observed_on: Date,
    /// When the record was submitted.
    pub submitted_at: WrittenInstant,
    /// Pseudonym of the scout.
    pub observer_id: String,
    /// The field.
    pub field: Field,
    /// A protocol's id: the name of its file in `pipeline/protocols`, without `.toml`.
    pub protocol: String,
    /// Crop stage of the field as written: VE, V4, R3, R5.1 … Which scale it is on the protocol says, so it
    /// is read with the protocol at hand ([`crate::visit::rules::limits::Limits`]).
    pub crop_stage: String,
    /// The day of the latest treatment of the field before the visit, as far as the scout knows. What it says together
    /// with the kind is decided in [`super::rules::treatment`].
    #[serde(
        default,
        deserialize_with = "day_if_given",
        skip_serializing_if = "Option::is_none"
    )]
    pub treated_on: Option<Date>,
    /// The kind of that treatment; `None` where the record does not say.
    #[serde(
        default,
        deserialize_with = "present",
        skip_serializing_if = "Option::is_none"
    )]
    pub treatment: Option<TreatmentKind>,
    /// What treating costs and what the crop is worth, as far as the scout knows.
    #[serde(default, skip_serializing_if = "Economics::is_empty")]
    pub economics: Economics,
    /// The sampling sites, at least one.
    pub sites: Vec<Site>,
    /// Anything else that the scout wishes to say.
    #[serde(
        default,
        deserialize_with = "present",
        skip_serializing_if = "Option::is_none"
    )]
    pub remarks: Option<String>,
    /// True in a higher revision withdraws the visit.
    #[serde(
        default,
        deserialize_with = "present",
        skip_serializing_if = "Option::is_none"
    )]
    pub retracted: Option<bool>,
}

/// The field of a visit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(remote = "Self", deny_unknown_fields)]
pub struct Field {
    /// Field ID.
    pub field_id: String,
    /// Longitude, degrees, WGS 84. A field of which only the county is known has no point.
    #[serde(
        default,
        deserialize_with = "present",
        skip_serializing_if = "Option::is_none"
    )]
    pub lon: Option<f64>,
    /// Latitude, degrees, WGS 84.
    #[serde(
        default,
        deserialize_with = "present",
        skip_serializing_if = "Option::is_none"
    )]
    pub lat: Option<f64>,
    /// Area, hectares.
    pub area_ha: f64,
    /// `oilseed`, `confection` or another type that the protocol knows.
    pub crop_type: String,
    /// Pseudonym of the farm.
    #[serde(
        default,
        deserialize_with = "present",
        skip_serializing_if = "Option::is_none"
    )]
    pub farm_id: Option<String>,
    /// The county as the scout states it.
    #[serde(
        default,
        deserialize_with = "present",
        skip_serializing_if = "Option::is_none"
    )]
    pub county_id: Option<String>,
    /// The field's outline.
    #[serde(
        default,
        deserialize_with = "present",
        skip_serializing_if = "Option::is_none"
    )]
    pub outline: Option<Outline>,
}

impl Field {
    /// Longitude and latitude, degrees, where the point is known.
    pub fn point(&self) -> Option<(f64, f64)> {
        self.lon.zip(self.lat)
    }
}

/// A GeoJSON Polygon.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(remote = "Self", deny_unknown_fields)]
pub struct Outline {
    /// Always `Polygon`.
    #[serde(rename = "type")]
    pub kind: String,
    /// Rings of longitude and latitude, degrees; the first is the outside.
    pub coordinates: Vec<Vec<[f64; 2]>>,
}

/// The economics of a field, as far as they are given; what is lacking a workspace may fill in
/// ([`super::economics`]).
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(remote = "Self", deny_unknown_fields)]
pub struct Economics {
    /// Cost of one treatment, product and application.
    #[serde(
        default,
        deserialize_with = "present",
        skip_serializing_if = "Option::is_none"
    )]
    pub treatment_cost: Option<TreatmentCost>,
    /// What the crop sells for.
    #[serde(
        default,
        deserialize_with = "present",
        skip_serializing_if = "Option::is_none"
    )]
    pub market_value: Option<MarketValue>,
    /// Plants standing.
    #[serde(
        default,
        deserialize_with = "present",
        skip_serializing_if = "Option::is_none"
    )]
    pub plant_population: Option<PlantPopulation>,
}

/// Cost of one treatment.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(remote = "Self", deny_unknown_fields)]
pub struct TreatmentCost {
    /// Amount of money.
    pub amount: f64,
    /// Acre or hectare.
    pub per: AreaUnit,
    /// ISO 4217 code.
    pub currency: String,
}

/// What the crop sells for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(remote = "Self", deny_unknown_fields)]
pub struct MarketValue {
    /// Amount of money.
    pub amount: f64,
    /// Pound or kilogram.
    pub per: WeightUnit,
    /// ISO 4217 code.
    pub currency: String,
}

/// Plants standing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(remote = "Self", deny_unknown_fields)]
pub struct PlantPopulation {
    /// Number of plants.
    pub count: f64,
    /// Acre or hectare.
    pub per: AreaUnit,
}

/// A unit of area that a scout may use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(remote = "Self", rename_all = "lowercase")]
pub enum AreaUnit {
    /// The international acre.
    Acre,
    /// The hectare.
    Ha,
}

/// A unit of weight that a scout may use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(remote = "Self", rename_all = "lowercase")]
pub enum WeightUnit {
    /// The avoirdupois pound.
    Lb,
    /// The kilogram.
    Kg,
}

/// What a field was treated with against the pest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(remote = "Self", rename_all = "lowercase")]
pub enum TreatmentKind {
    /// With nothing: the scout knows that the field was not treated this season.
    None,
    /// With an insecticide.
    Insecticide,
    /// With anything else against the pest.
    Other,
}

impl TreatmentKind {
    /// Every kind.
    pub const ALL: [TreatmentKind; 3] = [
        TreatmentKind::None,
        TreatmentKind::Insecticide,
        TreatmentKind::Other,
    ];

    /// The word in the record.
    pub fn name(self) -> &'static str {
        match self {
            TreatmentKind::None => "none",
            TreatmentKind::Insecticide => "insecticide",
            TreatmentKind::Other => "other",
        }
    }
}

/// One sampling place in a field. Exactly one of `heads`, `plants` and `traps` is given.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(remote = "Self", deny_unknown_fields)]
pub struct Site {
    /// Number of the site within the visit.
    #[serde(deserialize_with = "whole")]
    pub site: u32,
    /// Side of the field.
    #[serde(
        default,
        deserialize_with = "present",
        skip_serializing_if = "Option::is_none"
    )]
    pub side: Option<String>,
    /// Longitude, degrees, WGS 84.
    #[serde(
        default,
        deserialize_with = "present",
        skip_serializing_if = "Option::is_none"
    )]
    pub lon: Option<f64>,
    /// Latitude, degrees, WGS 84.
    #[serde(
        default,
        deserialize_with = "present",
        skip_serializing_if = "Option::is_none"
    )]
    pub lat: Option<f64>,
    /// Counts per bract (or other part), head by head.
    #[serde(
        default,
        deserialize_with = "read_heads",
        skip_serializing_if = "Option::is_none"
    )]
    pub heads: Option<Heads>,
    /// A count a plant or head.
    #[serde(
        default,
        deserialize_with = "present",
        skip_serializing_if = "Option::is_none"
    )]
    pub plants: Option<Vec<Count>>,
    /// Catch and nights, trap by trap.
    #[serde(
        default,
        deserialize_with = "present",
        skip_serializing_if = "Option::is_none"
    )]
    pub traps: Option<Vec<Trap>>,
}

/// The catch of one trap.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(remote = "Self", deny_unknown_fields)]
pub struct Trap {
    /// Insects caught.
    pub catch: Count,
    /// Trap-nights of the catch.
    #[serde(deserialize_with = "whole")]
    pub nights: u32,
}

/// The three forms in which a site reports its counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum CountForm {
    /// Counts per bract, head by head.
    Heads,
    /// A count a plant or head.
    Plants,
    /// Catch and nights a trap.
    Traps,
}

impl CountForm {
    /// The member's name in the record.
    pub fn member(self) -> &'static str {
        match self {
            CountForm::Heads => "heads",
            CountForm::Plants => "plants",
            CountForm::Traps => "traps",
        }
    }
}

impl Site {
    /// The form of the site's counts; `None` unless exactly one is given.
    pub fn count_form(&self) -> Option<CountForm> {
        match (&self.heads, &self.plants, &self.traps) {
            (Some(_), None, None) => Some(CountForm::Heads),
            (None, Some(_), None) => Some(CountForm::Plants),
            (None, None, Some(_)) => Some(CountForm::Traps),
            _ => None,
        }
    }
}

/// The derived reading of these types, behind [`Strict`]; `remote = "Self"` makes it a function.
macro_rules! read_strictly {
    ($($name:ident),*) => {$(
        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                $name::deserialize(Strict(deserializer))
            }
        }

        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                $name::serialize(self, serializer)
            }
        }
    )*};
}

read_strictly!(
    Visit,
    Field,
    Outline,
    Economics,
    TreatmentCost,
    MarketValue,
    PlantPopulation,
    AreaUnit,
    WeightUnit,
    TreatmentKind,
    Site,
    Trap
);
