//! A season's scouting: when a field is visited, in which stage it is, what is counted there,
//! what treating would cost.
//!
//! Eggs follow from a level of the season, of the county, of a few hot spots and of the field, from
//! a flight that peaks in one week, and from the stage of the buds. Every figure of this model is
//! invented so that a believable share of fields reaches its threshold; only the heat that each crop
//! stage needs is published. It writes no text and knows nothing of what goes wrong afterwards.

use rand::Rng;
use rand_chacha::ChaCha8Rng;

use super::calendar::Calendar;
use super::chance::{Chance, Purpose, rounded};
use super::eggs::{AGGREGATION_ASSUMED, EggCounts};
use super::fields::{SampleField, normal, point_of};
use super::options::SampleOptions;
use super::places::Places;
use scouting::visit::dates::WrittenInstant;
use scouting::visit::heads::Heads;
use scouting::visit::record::{
    AreaUnit, Economics, MarketValue, PlantPopulation, Site, TreatmentCost, Visit, WeightUnit,
};

/// Growing degree-days (°C above 6.7) from planting to each stage: Manitoba agriculture, MAFRD 2014.
const HEAT_OF_STAGE: [(f64, &str); 8] = [
    (333.0, "V12"),
    (569.0, "R1"),
    (647.0, "R2"),
    (726.0, "R3"),
    (805.0, "R4"),
    (883.0, "R5.1"),
    (962.0, "R5.5"),
    (1040.0, "R6"),
];
/// Heat that brings a field to R2, from the table above.
const HEAT_TO_R2: f64 = 647.0;
/// Heat gained a day in this invented landscape, degree-days.
const HEAT_PER_DAY: f64 = 13.0;
/// Days of a season: 1 June to 30 September, the workspace's default.
const SEASON_FROM_TO: [(i8, i8); 2] = [(6, 1), (9, 30)];
/// Heads examined at a site.
const HEADS_PER_SITE: usize = 5;
/// 1 acre in hectares, exact.
const HA_PER_ACRE: f64 = 0.404_685_642_24;
/// 1 pound in kilograms, exact.
const KG_PER_LB: f64 = 0.453_592_37;
/// How much sites of one field differ: standard deviation of the natural logarithm. Assumed.
const SITE_SPREAD_ASSUMED: f64 = 0.35;
/// Natural logarithm of the eggs per six bracts of a usual field at the flight's peak. Invented.
const EGG_LEVEL: f64 = -0.2;
/// How long the flight lasts: standard deviation of its bell, days. Invented.
const FLIGHT_SPREAD_DAYS: f64 = 13.0;
/// Sides of a field, in the order in which a scout walks around it.
const SIDES: [&str; 4] = ["N", "E", "S", "W"];
/// What scouts add now and then.
const REMARKS: [&str; 6] = [
    "windy; moths seen along the north edge at dusk",
    "uneven stand after hail in June",
    "second planting along the road, not sampled",
    "some eggs look hatched",
    "grower asks for another visit next week",
    "counted with a head-band magnifier",
];

/// What a season is like everywhere.
#[derive(Debug, Clone)]
pub(crate) struct Season {
    /// Calendar year.
    pub year: i32,
    /// The year's days.
    pub calendar: Calendar,
    first_day: usize,
    last_day: usize,
    planted_day: f64,
    egg_level: f64,
    flight_peak_day: f64,
    county_effects: Vec<f64>,
    hot_spots: Vec<HotSpot>,
}

/// A place around which more eggs are laid.
#[derive(Debug, Clone, Copy)]
struct HotSpot {
    lon: f64,
    lat: f64,
    reach_degrees: f64,
    /// Effect in its middle, as a natural logarithm.
    effect: f64,
}

/// A visit as the scout made it, before anything happens to the record.
#[derive(Debug, Clone)]
pub(crate) struct PlannedVisit {
    /// The record: revision 1.
    pub visit: Visit,
    /// Number of the visit date in the season's calendar.
    pub observed_day: usize,
    /// Number of the day on which it is submitted.
    pub submitted_day: usize,
}

impl Season {
    pub(crate) fn make(
        year: i32,
        options: &SampleOptions,
        places: &Places,
        seeds: &Chance,
    ) -> Self {
        let calendar = Calendar::of_year(year);
        let [season_start, season_end] =
            SEASON_FROM_TO.map(|(month, day)| calendar.day_of(month, day));
        let first_day = calendar
            .monday_of_week(options.first_week)
            .max(season_start);
        let last_week_end =
            calendar.monday_of_week(options.first_week) + 7 * options.weeks as usize;
        let last_day = (last_week_end - 1).min(season_end);
        assert!(
            first_day <= last_day,
            "the scouting weeks must be between June 1 and September 30"
        );
        // What stays the same from season to season has a chance of its own.
        let mut lasting = seeds.stream(Purpose::Levels);
        let mut yearly = seeds.stream(Purpose::Season(year));
        let county_effects = (0..places.count())
            .map(|_| 0.25 * normal(&mut lasting) + 0.25 * normal(&mut yearly))
            .collect();
        let bounds = places.bounds();
        let hot_spots = (0..2)
            .map(|_| {
                let (lon, lat) = places.pick_point(places.pick_county(&mut lasting), &mut lasting);
                HotSpot {
                    lon,
                    lat,
                    reach_degrees: 0.12 * bounds.width().hypot(bounds.height()),
                    effect: yearly.random_range(0.6..1.6),
                }
            })
            .collect();
        let middle_day = (first_day + last_day) as f64 / 2.0;
        Season {
            year,
            first_day,
            last_day,
            // Fields reach R2 around the middle of the scouting weeks: the first weeks find few buds
            // in the stage window, the last weeks, which the alert is about, have much to say.
            planted_day: middle_day + 0.5 - HEAT_TO_R2 / HEAT_PER_DAY
                + (3.5 * normal(&mut yearly)).clamp(-6.0, 5.0),
            egg_level: 0.25 * normal(&mut yearly).clamp(-1.5, 1.5),
            flight_peak_day: middle_day + 6.0 + (3.0 * normal(&mut yearly)).clamp(-4.0, 4.0),
            county_effects,
            hot_spots,
            calendar,
        }
    }

    /// The visits to a field, in the order of their days.
    pub(crate) fn visits(
        &self,
        field: &SampleField,
        options: &SampleOptions,
        chance: &mut ChaCha8Rng,
    ) -> Vec<PlannedVisit> {
        let planted_day = self.planted_day + field.planted_late_days;
        let economics = economics(field, chance);
        self.visit_days(planted_day, options.visits_per_field_max, chance)
            .into_iter()
            .map(|day| {
                let stage = stage_on(day as f64 - planted_day);
                let egg_mean = self.egg_mean(field, stage, day);
                let submitted_day = day + self.days_until_submitted(options.mess.late, chance);
                let visit = Visit {
                    schema_version: "1.0".to_owned(),
                    visit_id: visit_id(chance),
                    revision: 1,
                    observed_on: self.calendar.date(day),
                    submitted_at: self.submitted_at(submitted_day, chance),
                    observer_id: field.observer_id.clone(),
                    field: field.record.clone(),
                    protocol: "bsm-eggs".to_owned(),
                    crop_stage: stage.to_owned(),
                    treated_on: None,
                    treatment: None,
                    economics: economics.clone(),
                    sites: (0..field.sites)
                        .map(|place| sample_site(field, place, egg_mean, chance))
                        .collect(),
                    remarks: chance
                        .random_bool(0.04)
                        .then(|| REMARKS[chance.random_range(0..REMARKS.len())].to_owned()),
                    retracted: None,
                };
                PlannedVisit {
                    visit,
                    observed_day: day,
                    submitted_day: submitted_day.min(self.calendar.last_day()),
                }
            })
            .collect()
    }

    /// When a record was submitted. The hour is on the same day in the region
    /// and in UTC, so that no reading of it precedes the visit date.
    pub(crate) fn submitted_at(&self, day: usize, chance: &mut ChaCha8Rng) -> WrittenInstant {
        let text = self.calendar.text(day);
        let hour = chance.random_range(18..24);
        let minute = chance.random_range(0..60);
        let second = chance.random_range(0..60);
        let written = if chance.random_bool(0.7) {
            format!("{text}T{hour:02}:{minute:02}:{second:02}Z")
        } else {
            let local_hour = hour - 5;
            format!("{text}T{local_hour:02}:{minute:02}:{second:02}-05:00")
        };
        WrittenInstant::read(&written).expect("a day of the calendar with a time")
    }

    fn visit_days(
        &self,
        planted_day: f64,
        visits_max: usize,
        chance: &mut ChaCha8Rng,
    ) -> Vec<usize> {
        let ripe_day = planted_day + HEAT_TO_R2 / HEAT_PER_DAY;
        // Most scouts come when the buds are in R2 or R3; some come too early.
        let first = if chance.random_bool(0.2) {
            ripe_day - chance.random_range(5.0..20.0)
        } else {
            ripe_day + chance.random_range(-4.0..9.0)
        };
        let (earliest, latest) = (self.first_day as f64, self.last_day as f64);
        let mut day = if first < earliest {
            self.first_day + chance.random_range(0..7)
        } else {
            first.min(latest) as usize
        };
        // The larger of two draws: most fields get two or three visits.
        let mut draw = || chance.random_range(1..=visits_max.max(1));
        let visits = draw().max(draw());
        let mut days = Vec::with_capacity(visits);
        while days.len() < visits && day <= self.last_day {
            days.push(day);
            day += chance.random_range(5..=8);
        }
        days
    }

    /// Expected eggs per six bracts in this field on this day.
    fn egg_mean(&self, field: &SampleField, stage: &str, day: usize) -> f64 {
        let (lon, lat) = point_of(&field.record);
        let hot_spots: f64 = self
            .hot_spots
            .iter()
            .map(|spot| {
                let far = (lon - spot.lon).hypot(lat - spot.lat);
                spot.effect * (-0.5 * (far / spot.reach_degrees).powi(2)).exp()
            })
            .sum();
        let from_peak = (day as f64 - self.flight_peak_day) / FLIGHT_SPREAD_DAYS;
        let log_mean = EGG_LEVEL + self.egg_level + self.county_effects[field.county] + hot_spots
            - 0.5 * from_peak * from_peak
            + field.egg_effect;
        // Moths prefer closed buds (Entomol. Soc. America 2001, abstract 3833); how much is invented.
        let preference = match stage {
            "V12" => 0.0,
            "R1" => 0.4,
            "R2" | "R3" => 1.0,
            "R4" => 0.5,
            _ => 0.2,
        };
        preference * log_mean.exp()
    }

    /// Most records come the same evening, a few after weeks.
    fn days_until_submitted(&self, share_late: f64, chance: &mut ChaCha8Rng) -> usize {
        let way: f64 = chance.random();
        let slow: f64 = chance.random();
        match (way < share_late, slow) {
            (true, _) => chance.random_range(14..=42),
            (false, slow) if slow < 0.65 => 0,
            (false, slow) if slow < 0.90 => chance.random_range(1..=3),
            (false, _) => chance.random_range(4..=7),
        }
    }
}

fn stage_on(days_since_planting: f64) -> &'static str {
    let heat = days_since_planting * HEAT_PER_DAY;
    HEAT_OF_STAGE
        .iter()
        .rev()
        .find(|(needed, _)| heat >= *needed)
        .map_or("V12", |(_, stage)| stage)
}

fn economics(field: &SampleField, chance: &mut ChaCha8Rng) -> Economics {
    let cost_per_acre = 0.25 * f64::from(chance.random_range(24..=48));
    let value_per_lb = 0.005 * f64::from(chance.random_range(28..=56));
    let plants_per_acre = 500.0 * f64::from(chance.random_range(32..=48));
    let (cost, value, plants, area, weight) = if field.metric {
        (
            cost_per_acre / HA_PER_ACRE,
            value_per_lb / KG_PER_LB,
            (plants_per_acre / HA_PER_ACRE / 100.0).round() * 100.0,
            AreaUnit::Ha,
            WeightUnit::Kg,
        )
    } else {
        (
            cost_per_acre,
            value_per_lb,
            plants_per_acre,
            AreaUnit::Acre,
            WeightUnit::Lb,
        )
    };
    let currency = || "USD".to_owned();
    Economics {
        treatment_cost: Some(TreatmentCost {
            amount: rounded(cost, 2),
            per: area,
            currency: currency(),
        }),
        market_value: Some(MarketValue {
            amount: rounded(value, 3),
            per: weight,
            currency: currency(),
        }),
        plant_population: Some(PlantPopulation {
            count: plants,
            per: area,
        }),
    }
}

/// Counts at the site in this place of the walk around the field.
fn sample_site(field: &SampleField, place: usize, egg_mean: f64, chance: &mut ChaCha8Rng) -> Site {
    let side = SIDES[place % SIDES.len()];
    // Minus half the variance, so that the sites' differences leave the field's mean alone.
    let difference =
        SITE_SPREAD_ASSUMED * normal(chance) - SITE_SPREAD_ASSUMED * SITE_SPREAD_ASSUMED / 2.0;
    let eggs = EggCounts::new(egg_mean * difference.exp(), AGGREGATION_ASSUMED);
    let heads: Heads = (0..HEADS_PER_SITE).map(|_| eggs.head(chance)).collect();
    let point = field.notes_site_points.then(|| field.site_point(side));
    Site {
        site: place as u32 + 1,
        side: Some(side.to_owned()),
        lon: point.map(|(lon, _)| lon),
        lat: point.map(|(_, lat)| lat),
        heads: Some(heads),
        plants: None,
        traps: None,
    }
}

/// A stable identity in the form of a random UUID (RFC 9562, version 4).
fn visit_id(chance: &mut ChaCha8Rng) -> String {
    uuid::Builder::from_random_bytes(chance.random())
        .into_uuid()
        .to_string()
}
