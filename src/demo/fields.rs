//! What a field is like in every season: where it is, whose it is, how large, what grows there.
//!
//! A field follows from the seed and its number alone, so that field 170,000 can be made without the
//! 169,999 before it. What changes from season to season is in [`super::season`].

use rand::Rng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::chance::{Chance, Purpose, rounded};
use super::places::Places;
use scouting::visit::record::{Field, Outline};

/// Fields that are in one county and belong to one farm.
const FIELDS_PER_FARM: usize = 2;
/// Farms that one scout looks after.
const FARMS_PER_OBSERVER: usize = 3;
/// Meters in a degree of latitude, rounded: good enough for the corners of an invented field.
const METERS_PER_DEGREE: f64 = 111_320.0;
/// How far inside the field's edge a site is: 6 m, as `bsm-eggs` asks (standard practice; no published source).
const SITE_INSET_M: f64 = 6.0;

/// A field of the sample.
#[derive(Debug, Clone)]
pub(crate) struct SampleField {
    /// The field as its visits state it.
    pub record: Field,
    /// Place of its county in [`Places`].
    pub county: usize,
    /// The scout.
    pub observer_id: String,
    /// Whether the scout writes hectares and kilograms.
    pub metric: bool,
    /// How much later than the region it is planted, days.
    pub planted_late_days: f64,
    /// How much more eggs it draws than its county, as a natural logarithm.
    pub egg_effect: f64,
    /// How many sites are sampled.
    pub sites: usize,
    /// Whether the scout notes the position of each site.
    pub notes_site_points: bool,
}

impl SampleField {
    /// Field number 0 and up.
    pub(crate) fn make(number: usize, places: &Places, seeds: &Chance) -> Self {
        let farm = number / FIELDS_PER_FARM;
        let mut farm_chance = seeds.stream(Purpose::Farm(farm));
        let county = places.pick_county(&mut farm_chance);
        let farm_is_named = farm_chance.random_bool(0.75);

        let mut chance = seeds.stream(Purpose::Field(number));
        let (lon, lat) = places.pick_point(county, &mut chance);
        let farm_id = farm_is_named.then(|| format!("farm-{:04}", farm + 1));
        // Most sunflower is grown for oil; the share is invented, as is every share here.
        let crop_type = if chance.random_bool(0.8) {
            "oilseed"
        } else {
            "confection"
        };
        let area_ha = rounded(
            (55.0 * (0.45 * normal(&mut chance)).exp()).clamp(20.0, 120.0),
            1,
        );
        let county_id = stated_county(county, places, &mut chance);
        let mut record = Field {
            field_id: format!("F-{:06}", number + 1),
            lon: Some(lon),
            lat: Some(lat),
            area_ha,
            crop_type: crop_type.to_owned(),
            farm_id,
            county_id,
            outline: None,
        };
        if chance.random_bool(0.04) {
            record.outline = Some(square_outline(&record));
        }
        SampleField {
            county,
            observer_id: format!("obs-{:04}", farm / FARMS_PER_OBSERVER + 1),
            metric: chance.random_bool(0.15),
            planted_late_days: 6.0 * normal(&mut chance),
            egg_effect: 0.55 * normal(&mut chance),
            // A few scouts stop after two or three sites: accepted, but flagged.
            sites: if chance.random_bool(0.03) {
                chance.random_range(2..=3)
            } else {
                chance.random_range(4..=8)
            },
            notes_site_points: chance.random_bool(0.1),
            record,
        }
    }

    /// Position of a site on a side of the field: longitude and latitude.
    pub(crate) fn site_point(&self, side: &str) -> (f64, f64) {
        let reach_m = half_width_m(self.record.area_ha) - SITE_INSET_M;
        let (east, north) = match side {
            "N" => (0.0, 1.0),
            "E" => (1.0, 0.0),
            "S" => (0.0, -1.0),
            _ => (-1.0, 0.0),
        };
        moved(&self.record, east * reach_m, north * reach_m)
    }
}

/// About a third of the scouts state the county; a few of them the neighboring one.
fn stated_county(county: usize, places: &Places, chance: &mut ChaCha8Rng) -> Option<String> {
    let states_it = chance.random_bool(1.0 / 3.0);
    let is_wrong = chance.random_bool(0.06);
    let stated = if is_wrong {
        places.neighbor(county).unwrap_or(county)
    } else {
        county
    };
    states_it.then(|| places.county_id(stated).to_owned())
}

fn half_width_m(area_ha: f64) -> f64 {
    (area_ha * 10_000.0).sqrt() / 2.0
}

fn square_outline(field: &Field) -> Outline {
    let half = half_width_m(field.area_ha);
    let corners = [
        (-1.0, -1.0),
        (1.0, -1.0),
        (1.0, 1.0),
        (-1.0, 1.0),
        (-1.0, -1.0),
    ];
    let ring = corners
        .iter()
        .map(|(east, north)| moved(field, east * half, north * half).into())
        .collect();
    Outline {
        kind: "Polygon".to_owned(),
        coordinates: vec![ring],
    }
}

/// Longitude and latitude of an invented field, degrees.
pub(crate) fn point_of(field: &Field) -> (f64, f64) {
    field.point().expect("every invented field has a point")
}

/// The field's point moved by meters.
fn moved(field: &Field, east_m: f64, north_m: f64) -> (f64, f64) {
    let (lon, lat) = point_of(field);
    let degree_east_m = METERS_PER_DEGREE * lat.to_radians().cos();
    (
        rounded(lon + east_m / degree_east_m, 5),
        rounded(lat + north_m / METERS_PER_DEGREE, 5),
    )
}

/// A draw from the normal distribution with mean 0 and standard deviation 1.
pub(crate) fn normal(chance: &mut impl Rng) -> f64 {
    StandardNormal.sample(chance)
}
