//! Scenarios' relations: figures worked out by hand from published relations, and relations that are refused.

use std::path::Path;
use std::sync::Arc;

use arrow::array::{ArrayRef, Float64Array, RecordBatch, StringArray};
use scouting::protocol::catalogue::{Catalogue, Protocol};
use scouting::protocol::planned::ThresholdField;
use scouting::protocol::threshold::threshold_of;
use store::stages::expression::saved_kg_per_ha;

use crate::support::bractline;
use crate::support::scenario::HECTARES_PER_ACRE;
use crate::support::thresholds::assert_near;
use crate::thresholds::{METRIC, US, economics};

/// A table of one field with the canonical columns.
fn field_of(cost: f64, value: f64, plants: f64, crop_type: &str) -> RecordBatch {
    let number = |value: f64| Arc::new(Float64Array::from(vec![value])) as ArrayRef;
    let text = |value: &str| Arc::new(StringArray::from(vec![value])) as ArrayRef;
    RecordBatch::try_from_iter([
        ("treatment_cost_per_ha", number(cost)),
        ("market_value_per_kg", number(value)),
        ("plants_per_ha", number(plants)),
        ("area_ha", number(60.0)),
        ("crop_type", text(crop_type)),
        ("crop_stage", text("R3")),
    ])
    .expect("a table")
}

fn saved(protocol: &Protocol, row: &RecordBatch, mean: f64) -> Option<f64> {
    let kilograms = saved_kg_per_ha(protocol, row, &Float64Array::from(vec![mean]))?;
    kilograms
        .expect("a relation that can be computed")
        .iter()
        .next()
        .flatten()
}

/// At its threshold a field gains nothing: for every built-in relation, at economics of the published tables.
#[test]
fn at_the_threshold_what_is_saved_pays_the_treatment() {
    let catalogue = Catalogue::read(None, store::stages::expression::plan).expect("the catalogue");
    let related: Vec<_> = catalogue
        .protocols()
        .filter(|one| one.damage.is_some())
        .collect();
    let ids: Vec<&str> = related.iter().map(|one| &*one.id).collect();
    assert_eq!(ids, ["bsm-adults", "bsm-eggs", "rssw"]);
    for protocol in related {
        for (cost, value, plants, units) in [
            (17.30, 0.20, 44_600.0, METRIC),
            (20.0, 0.40, 49_400.0, METRIC),
            (10.0, 0.16, 24_000.0, US),
        ] {
            let economics = economics(cost, value, plants, units);
            let threshold = threshold_of(
                protocol,
                &ThresholdField {
                    economics: &economics,
                    area_ha: 60.0,
                    crop_type: "oilseed",
                    crop_stage: &protocol.stages.first,
                },
            )
            .expect("a threshold");
            let cost = economics.treatment_cost.as_ref().map(|one| one.per_ha());
            let value = economics.market_value.as_ref().map(|one| one.per_kg());
            let plants = economics.plant_population.as_ref().map(|one| one.per_ha());
            let (cost, value, plants) = (
                cost.expect("a cost"),
                value.expect("a value"),
                plants.expect("a stand"),
            );
            let row = field_of(cost, value, plants, "oilseed");
            let kilograms = saved(protocol, &row, threshold).expect("oilseed has a relation");
            assert_near(kilograms * value, cost, 1e-9 * cost, &protocol.id);
        }
    }
}

#[test]
fn relations_give_what_their_sources_print() {
    let catalogue = Catalogue::read(None, store::stages::expression::plan).expect("the catalogue");
    let of = |id: &str| catalogue.protocol(id).expect("in the catalogue");
    // Charlet & Barker 1995, Helia 18(23):59-66: 5.9 larvae a head cost 17.30 USD/ha at 0.20 USD/kg and 44,600 plants/ha;
    // Y = 1.69 + 23.93 X, X adults per ten plants, gives them at X = 0.17593.
    let row = field_of(17.30, 0.20, 44_600.0, "oilseed");
    let kilograms = saved(of("bsm-adults"), &row, 0.017_593).expect("a relation");
    assert_near(kilograms * 0.20, 17.30, 0.01, "adults");
    // At no adult the paper's line gives 1.69 larvae.
    let kilograms = saved(of("bsm-adults"), &row, 0.0).expect("a relation");
    assert_near(kilograms, 44_600.0 * 0.000_328_72 * 1.69, 1e-9, "no adult");
    // The formula for oil (common practice, no source) at 20,000 plants an acre: 13.33 lb an acre for each weevil a head;
    // Peng & Brewer (Canadian Entomologist, abstract): 265.04 mg a weevil, 11.69 lb: within 20 %.
    let row = field_of(20.0, 0.4, 20_000.0 / HECTARES_PER_ACRE, "oilseed");
    let kilograms = saved(of("rssw"), &row, 1.0).expect("a relation");
    let pounds_per_acre = kilograms / 0.453_592_37 * HECTARES_PER_ACRE;
    assert_near(pounds_per_acre, 13.33, 0.005, "weevils");
    assert_near(pounds_per_acre, 11.69, 0.2 * 11.69, "weevils of the paper");
    // Confection is bought by the look of the seed; no relation is known.
    let row = field_of(20.0, 0.4, 40_000.0, "confection");
    assert_eq!(saved(of("rssw"), &row, 1.0), None);
    assert!(saved_kg_per_ha(of("stem-weevil"), &row, &Float64Array::from(vec![1.0])).is_none());
}

#[test]
fn a_relation_that_is_no_amount_of_crop_is_refused_with_its_line() {
    let text = std::fs::read_to_string("pipeline/protocols/bsm-eggs.toml").expect("a protocol");
    let own = "saved_kg_per_ha_per_count = \"plants_per_ha * 0.00078 * 0.45359237\"";
    let line = 1 + text[..text.find(own).expect("its relation")]
        .matches('\n')
        .count();
    for (other, reason) in [
        ("plants_per_ha * 0.0", "it is no amount of crop"),
        ("plants_per_ha - 4000.0", "it is no amount of crop"),
        (
            "plants_per_acre * 0.00078",
            "there is no column plants_per_acre",
        ),
        ("sum(plants_per_ha)", "is an aggregate"),
    ] {
        let bent = text.replace(own, &format!("saved_kg_per_ha_per_count = \"{other}\""));
        let refused = Protocol::read(
            &bent,
            Path::new("bsm-eggs.toml"),
            store::stages::expression::plan,
        )
        .expect_err(other)
        .to_string();
        let at = format!("line {line}: [damage] saved_kg_per_ha_per_count: ");
        assert!(
            refused.contains(&at) && refused.contains(reason),
            "{refused}"
        );
    }
    let shown = bractline(&["protocols", "show", "bsm-eggs"])
        .expect_code(0)
        .stdout;
    assert!(
        shown.contains("eggs per six bracts x plants per acre x 0.00078"),
        "{shown}"
    );
}
