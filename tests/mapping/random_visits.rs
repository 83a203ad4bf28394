//! Random visits survive the plain layout.

use intake::sheet::table::{Cell, Sheet};
use jiff::civil::date;
use proptest::prelude::*;
use scouting::visit::count::Count;
use scouting::visit::dates::WrittenInstant;
use scouting::visit::record::{
    AreaUnit, Economics, Field, MarketValue, Outline, PlantPopulation, Site, Trap, TreatmentCost,
    TreatmentKind, Visit, WeightUnit,
};

use super::{base_sheet, mapping, plain, plain_sheet, text};
use crate::support::mapping::BASE;

/// The sheet as a text file holds it: every cell is text.
fn as_text(mut sheet: Sheet) -> Sheet {
    for cell in sheet.rows.iter_mut().flat_map(|row| &mut row.cells) {
        *cell = match &*cell {
            Cell::Number(number) => text(&number.to_string()),
            Cell::Truth(truth) => text(&truth.to_string()),
            Cell::Empty => Cell::Empty,
            other => other.clone(),
        };
    }
    sheet
}

pub fn short_text() -> BoxedStrategy<String> {
    let any = "[^\\x00-\\x1f\\x7f-\\u{9f}]{1,30}";
    let formula = "[=+@'\"_-][^\\x00-\\x1f\\x7f-\\u{9f}]{0,8}";
    prop_oneof![
        any,
        formula,
        Just("_x000D_".to_owned()),
        Just("\u{feff}a\u{a0}".to_owned()),
        "[0-9]{1,20}",
        "[0-9]E\\+[0-9]{2}"
    ]
    .prop_map(|text| text.trim_matches(' ').to_owned())
    .prop_filter("a text is not empty", |text| !text.is_empty())
    .boxed()
}

pub fn remarks() -> BoxedStrategy<String> {
    prop_oneof![
        "[^\\x00-\\x08\\x0b\\x0c\\x0e-\\x1f\\x7f-\\u{9f}]{0,60}",
        "[=+@' \t\r\n-]{0,4}[a-z]{0,3}[ \n]{0,2}"
    ]
    .boxed()
}

fn amount() -> BoxedStrategy<f64> {
    prop_oneof![
        (1u64..1_000_000).prop_map(|number| number as f64 / 100.0),
        any::<u64>().prop_map(|bits| f64::from_bits(bits).abs()),
        Just(0.1 + 0.2),
        Just(5e-324),
        Just(1e9),
    ]
    .prop_filter("an amount", |amount| *amount > 0.0 && *amount <= 1e9)
    .boxed()
}

fn sites() -> BoxedStrategy<Vec<Site>> {
    let count = || prop_oneof![0u32..5, 0u32..=1_000_000].prop_map(Count);
    let heads = prop::collection::vec(prop::collection::vec(count(), 1..8), 1..4);
    let plants = prop::collection::vec(count(), 1..4);
    let traps = prop::collection::vec(
        (count(), 1u32..=366).prop_map(|(catch, nights)| Trap { catch, nights }),
        1..4,
    );
    let counts = prop_oneof![
        heads.prop_map(|heads| (Some(heads.into_iter().collect()), None, None)),
        plants.prop_map(|plants| (None, Some(plants), None)),
        traps.prop_map(|traps| (None, None, Some(traps))),
    ];
    let point = prop::option::of((-180.0..=180.0f64, -90.0..=90.0f64));
    let site = (prop::option::of(short_text()), point, counts);
    let numbers = prop::collection::hash_set(1u32..=1_000_000, 1..4);
    (numbers, prop::collection::vec(site, 4))
        .prop_map(|(numbers, sites)| {
            numbers
                .into_iter()
                .zip(sites)
                .map(|(site, (side, point, (heads, plants, traps)))| Site {
                    site,
                    side,
                    lon: point.map(|point| point.0),
                    lat: point.map(|point| point.1),
                    heads,
                    plants,
                    traps,
                })
                .collect()
        })
        .boxed()
}

pub fn field() -> BoxedStrategy<Field> {
    let optional = || prop::option::of(short_text());
    let corner = || (-180.0..=180.0f64, -90.0..=90.0f64).prop_map(|(lon, lat)| [lon, lat]);
    let ring = prop::collection::vec(corner(), 4..6);
    let outline =
        prop::option::of(
            prop::collection::vec(ring, 1..3).prop_map(|coordinates| Outline {
                kind: "Polygon".to_owned(),
                coordinates,
            }),
        );
    (
        short_text(),
        corner(),
        amount(),
        short_text(),
        optional(),
        optional(),
        outline,
    )
        .prop_map(
            |(field_id, [lon, lat], area_ha, crop_type, farm_id, county_id, outline)| Field {
                field_id,
                lon: Some(lon),
                lat: Some(lat),
                area_ha,
                crop_type,
                farm_id,
                county_id,
                outline,
            },
        )
        .boxed()
}

/// Any of the three may be unknown to the scout.
fn economics() -> BoxedStrategy<Economics> {
    let area = || prop_oneof![Just(AreaUnit::Acre), Just(AreaUnit::Ha)];
    let weight = prop_oneof![Just(WeightUnit::Lb), Just(WeightUnit::Kg)];
    let cost = (amount(), area(), "[A-Z]{3}").prop_map(|(amount, per, currency)| TreatmentCost {
        amount,
        per,
        currency,
    });
    let value = (amount(), weight, "[A-Z]{3}").prop_map(|(amount, per, currency)| MarketValue {
        amount,
        per,
        currency,
    });
    let plants = (amount(), area()).prop_map(|(count, per)| PlantPopulation { count, per });
    let mostly = 0.9;
    (
        proptest::option::weighted(mostly, cost),
        proptest::option::weighted(mostly, value),
        proptest::option::weighted(mostly, plants),
    )
        .prop_map(
            |(treatment_cost, market_value, plant_population)| Economics {
                treatment_cost,
                market_value,
                plant_population,
            },
        )
        .boxed()
}

fn treatment() -> impl Strategy<Value = TreatmentKind> {
    prop::sample::select(vec![
        TreatmentKind::None,
        TreatmentKind::Insecticide,
        TreatmentKind::Other,
    ])
}

prop_compose! {
    fn any_visit()(
        visit_id in short_text(),
        revision in prop_oneof![Just(1u32), 1..=1_000_000u32],
        day in (1000i16..=2999, 1i8..=12, 1i8..=28),
        time in "(T[01][0-9]:[0-5][0-9]:[0-5][0-9])([.][0-9]{1,9})?(Z|[+-][01][0-9]:[0-5][0-9])",
        observer_id in short_text(),
        field in field(),
        protocol in short_text(),
        crop_stage in short_text(),
        treated in (prop::option::of((2000i16..=2999, 1i8..=12, 1i8..=28)), prop::option::of(treatment())),
        economics in economics(),
        sites in sites(),
        remarks in prop::option::of(remarks()),
        retracted in prop::option::of(any::<bool>()),
    ) -> Visit {
        let observed_on = date(day.0, day.1, day.2);
        let submitted_at = WrittenInstant::read(&format!("{observed_on}{time}")).expect("a time of the schema");
        Visit {
            schema_version: "1.0".to_owned(), visit_id, revision, observed_on, submitted_at, observer_id, field,
            protocol, crop_stage, treated_on: treated.0.map(|day| date(day.0, day.1, day.2)), treatment: treated.1,
            economics, sites, remarks, retracted,
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    #[test]
    fn a_visit_survives_the_plain_layout(first in any_visit(), second in any_visit()) {
        prop_assume!(first.visit_id != second.visit_id);
        prop_assert!(first.conforms() && second.conforms());
        let written = plain_sheet(&[first.clone(), second.clone()]);
        for cell in written.rows.iter().flat_map(|row| &row.cells) {
            if let Cell::Text(text) = cell {
                prop_assert!(!text.starts_with(['=', '+', '-', '@', '\t', '\r']), "{:?} starts a formula", text);
            }
        }
        for sheet in [written.clone(), as_text(written)] {
            let made = plain(&[sheet]);
            let read: Vec<Visit> = made
                .iter()
                .map(|record| {
                    let document = record.document.as_ref().unwrap_or_else(|findings| panic!("{findings:#?}"));
                    Visit::of_value(document).unwrap_or_else(|error| panic!("{error}: {document}"))
                })
                .collect();
            prop_assert_eq!(&read, &[first.clone(), second.clone()]);
        }
    }

    #[test]
    fn no_text_of_a_cell_brings_a_mapping_down(cells in prop::collection::vec(".{0,12}", 8)) {
        let sheet = base_sheet(|rows| rows.push(cells.iter().map(|cell| text(cell)).collect()));
        let made = mapping(BASE).records(&[sheet], "a.csv");
        let made = made.expect("the columns are there");
        let blank = cells.iter().all(|cell| cell.trim().is_empty());
        prop_assert!(made.len() == 2 || blank);
    }
}
