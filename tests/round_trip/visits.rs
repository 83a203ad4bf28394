//! Random visits that the workspace accepts.

use jiff::ToSpan;
use jiff::civil::date;
use proptest::prelude::*;
use scouting::visit::count::Count;
use scouting::visit::dates::WrittenInstant;
use scouting::visit::record::{
    AreaUnit, Economics, Field, MarketValue, Outline, PlantPopulation, Site, Trap, TreatmentCost,
    TreatmentKind, Visit, WeightUnit,
};

use crate::mapping::random_visits::{remarks, short_text};

/// Visits of one case.
pub const VISITS: usize = 200;

/// A number between two, of few digits or of all.
fn number(low: f64, high: f64) -> BoxedStrategy<f64> {
    let rounded = (low..high).prop_map(move |number| ((number * 100.0).round() / 100.0).max(low));
    prop_oneof![low..high, rounded].boxed()
}

fn sites(
    form: &'static str,
    bracts: std::ops::RangeInclusive<usize>,
    most: u32,
) -> BoxedStrategy<Vec<Site>> {
    let count = || prop_oneof![4 => 0u32..5, 1 => 0u32..=most].prop_map(Count);
    let counts: BoxedStrategy<Site> = match form {
        "heads" => prop::collection::vec(prop::collection::vec(count(), bracts), 1..4)
            .prop_map(|heads| empty_site(Some(heads), None, None))
            .boxed(),
        "plants" => prop::collection::vec(count(), 1..4)
            .prop_map(|plants| empty_site(None, Some(plants), None))
            .boxed(),
        _ => {
            let trap = (count(), 1u32..=366).prop_map(|(catch, nights)| Trap { catch, nights });
            prop::collection::vec(trap, 1..4)
                .prop_map(|traps| empty_site(None, None, Some(traps)))
                .boxed()
        }
    };
    let point = prop::option::of((-180.0..=180.0f64, -90.0..=90.0f64));
    let site = (prop::option::of(short_text()), point, counts);
    let numbers = prop::collection::hash_set(1u32..=1_000_000, 1..4);
    (numbers, prop::collection::vec(site, 4))
        .prop_map(|(numbers, sites)| {
            let numbered = numbers.into_iter().zip(sites);
            numbered
                .map(|(number, (side, point, site))| Site {
                    site: number,
                    side,
                    lon: point.map(|point| point.0),
                    lat: point.map(|point| point.1),
                    ..site
                })
                .collect()
        })
        .boxed()
}

fn empty_site(
    heads: Option<Vec<Vec<Count>>>,
    plants: Option<Vec<Count>>,
    traps: Option<Vec<Trap>>,
) -> Site {
    Site {
        site: 1,
        side: None,
        lon: None,
        lat: None,
        heads: heads.map(|heads| heads.into_iter().collect()),
        plants,
        traps,
    }
}

pub const CROP_TYPES: [&str; 4] = ["oilseed", "confection", "bird-food", "dehull"];

fn counted() -> BoxedStrategy<(String, Vec<Site>)> {
    let of = |protocol: &'static str, form, bracts, most| {
        sites(form, bracts, most)
            .prop_map(move |sites| (protocol.to_owned(), sites))
            .boxed()
    };
    prop_oneof![
        // Six of these are below what the protocol calls impossible; the test's own protocols have no bound.
        of("bsm-eggs", "heads", 6..=6, 99),
        of("test-heads", "heads", 1..=9, 1_000_000),
        of("test-plants", "plants", 1..=1, 1_000_000),
        of("test-traps", "traps", 1..=1, 1_000_000),
    ]
    .boxed()
}

/// Text that is no mark, date, address or telephone number: those are held, whatever form they come in.
fn id() -> BoxedStrategy<String> {
    let harmless = |text: String| {
        let mut digits = 0;
        let letters = text.chars().map(|letter| {
            digits += usize::from(letter.is_ascii_digit());
            match letter {
                '@' => 'a',
                _ if letter.is_ascii_digit() && digits > 6 => 'd',
                _ => letter,
            }
        });
        format!("{}x", letters.collect::<String>())
    };
    short_text().prop_map(harmless).boxed()
}

fn field() -> BoxedStrategy<Field> {
    let optional = || prop::option::of(id());
    let corner = (-180.0..=180.0f64, -90.0..=90.0f64).prop_map(|(lon, lat)| [lon, lat]);
    let ring = prop::collection::vec(corner, 4..6);
    let outline = prop::collection::vec(ring, 1..3).prop_map(|coordinates| Outline {
        kind: "Polygon".to_owned(),
        coordinates,
    });
    let crop_type = prop::sample::select(CROP_TYPES.to_vec());
    (
        id(),
        // Well within South Dakota.
        (number(-102.9, -99.0), number(43.1, 45.8)),
        number(0.2, 3_900.0),
        crop_type,
        optional(),
        optional(),
        prop::option::of(outline),
    )
        .prop_map(
            |(field_id, (lon, lat), area_ha, crop_type, farm_id, county_id, outline)| Field {
                field_id,
                lon: Some(lon),
                lat: Some(lat),
                area_ha,
                crop_type: crop_type.to_owned(),
                farm_id,
                county_id,
                outline,
            },
        )
        .boxed()
}

/// Any of the three may be unknown to the scout; the workspace assumes them then, in its own currency.
fn economics() -> BoxedStrategy<Economics> {
    let area = || prop_oneof![Just(AreaUnit::Acre), Just(AreaUnit::Ha)];
    let weight = prop_oneof![Just(WeightUnit::Lb), Just(WeightUnit::Kg)];
    let currency = prop_oneof![Just("USD".to_owned()), "[A-Z]{3}"];
    // Plausible whichever unit it is in.
    (
        (number(1.5, 110.0), area()),
        (number(0.05, 3.5), weight),
        (number(5_000.0, 190_000.0), area()),
        currency,
        prop::option::weighted(0.3, prop::array::uniform3(any::<bool>())),
    )
        .prop_map(|(cost, value, plants, currency, known)| {
            let currency = known.map_or(currency, |_| "USD".to_owned());
            let [cost_known, value_known, plants_known] = known.unwrap_or([true; 3]);
            Economics {
                treatment_cost: cost_known.then(|| TreatmentCost {
                    amount: cost.0,
                    per: cost.1,
                    currency: currency.clone(),
                }),
                market_value: value_known.then_some(MarketValue {
                    amount: value.0,
                    per: value.1,
                    currency,
                }),
                plant_population: plants_known.then_some(PlantPopulation {
                    count: plants.0,
                    per: plants.1,
                }),
            }
        })
        .boxed()
}

/// Days since a treatment, and its kind, as the rules let pass: none has no day.
fn treated() -> impl Strategy<Value = (Option<i32>, Option<TreatmentKind>)> {
    let kind = prop::sample::select(vec![TreatmentKind::Insecticide, TreatmentKind::Other]);
    prop_oneof![
        2 => Just((None, None)),
        1 => Just((None, Some(TreatmentKind::None))),
        2 => (prop::option::of(0..=180i32), prop::option::of(kind)),
    ]
}

prop_compose! {
    fn any_visit()(
        visit_id in short_text(),
        revision in prop_oneof![Just(1u32), 1..=1_000_000u32],
        day in (2000i16..=2030, 6i8..=9, 1i8..=28),
        time in "(T[01][0-9]:[0-5][0-9]:[0-5][0-9])([.][0-9]{1,9})?(Z|[+-][01][0-9]:[0-5][0-9])",
        observer_id in id(),
        field in field(),
        crop_stage in prop::sample::select(vec!["VE", "V4", "V12", "R1", "R2", "R3", "R5", "R5.1", "R5.9", "R9"]),
        treated in treated(),
        economics in economics(),
        (protocol, sites) in counted(),
        remarks in prop::option::of(remarks()),
        retracted in prop::option::of(any::<bool>()),
    ) -> Visit {
        let observed_on = date(day.0, day.1, day.2);
        let submitted_at = WrittenInstant::read(&format!("{observed_on}{time}")).expect("a time of the schema");
        let treated_on = treated.0.and_then(|days| observed_on.checked_sub(days.days()).ok());
        Visit {
            schema_version: "1.0".to_owned(), visit_id, revision, observed_on, submitted_at, observer_id, field,
            protocol, crop_stage: crop_stage.to_owned(), treated_on, treatment: treated.1, economics, sites, remarks, retracted,
        }
    }
}

/// As many visits, each with an id of its own.
pub fn visits() -> BoxedStrategy<Vec<Visit>> {
    prop::collection::vec(any_visit(), VISITS)
        .prop_map(|mut visits| {
            for (number, visit) in visits.iter_mut().enumerate() {
                visit.visit_id.push_str(&format!(" {number}"));
            }
            visits
        })
        .boxed()
}
