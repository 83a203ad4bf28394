//! A visit as the plainest strict types that hold it, borrowed where they can be: what reading must cost at least.
//!
//! Nothing is looked at. Shared by `floor_reader` and by the test that guards the speed of a load.

use std::borrow::Cow;

use serde::Deserialize;

/// One record.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(dead_code, reason = "read, and not looked at")]
pub struct Visit<'a> {
    #[serde(borrow)]
    schema_version: Cow<'a, str>,
    #[serde(borrow)]
    visit_id: Cow<'a, str>,
    revision: u32,
    #[serde(borrow)]
    observed_on: Cow<'a, str>,
    #[serde(borrow)]
    submitted_at: Cow<'a, str>,
    #[serde(borrow)]
    observer_id: Cow<'a, str>,
    #[serde(borrow)]
    field: Field<'a>,
    #[serde(borrow)]
    protocol: Cow<'a, str>,
    #[serde(borrow)]
    crop_stage: Cow<'a, str>,
    #[serde(borrow)]
    treated_on: Option<Cow<'a, str>>,
    #[serde(borrow)]
    treatment: Option<Cow<'a, str>>,
    #[serde(borrow)]
    economics: Option<Economics<'a>>,
    #[serde(borrow)]
    sites: Vec<Site<'a>>,
    #[serde(borrow)]
    remarks: Option<Cow<'a, str>>,
    retracted: Option<bool>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(dead_code, reason = "read, and not looked at")]
struct Field<'a> {
    #[serde(borrow)]
    field_id: Cow<'a, str>,
    lon: f64,
    lat: f64,
    area_ha: f64,
    #[serde(borrow)]
    crop_type: Cow<'a, str>,
    #[serde(borrow)]
    farm_id: Option<Cow<'a, str>>,
    #[serde(borrow)]
    county_id: Option<Cow<'a, str>>,
    #[serde(borrow)]
    outline: Option<Outline<'a>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(dead_code, reason = "read, and not looked at")]
struct Outline<'a> {
    #[serde(borrow, rename = "type")]
    kind: Cow<'a, str>,
    coordinates: Vec<Vec<[f64; 2]>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(dead_code, reason = "read, and not looked at")]
struct Economics<'a> {
    #[serde(borrow)]
    treatment_cost: Option<Money<'a>>,
    #[serde(borrow)]
    market_value: Option<Money<'a>>,
    #[serde(borrow)]
    plant_population: Option<Plants<'a>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(dead_code, reason = "read, and not looked at")]
struct Money<'a> {
    amount: f64,
    #[serde(borrow)]
    per: Cow<'a, str>,
    #[serde(borrow)]
    currency: Cow<'a, str>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(dead_code, reason = "read, and not looked at")]
struct Plants<'a> {
    count: f64,
    #[serde(borrow)]
    per: Cow<'a, str>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(dead_code, reason = "read, and not looked at")]
struct Site<'a> {
    site: u32,
    #[serde(borrow)]
    side: Option<Cow<'a, str>>,
    lon: Option<f64>,
    lat: Option<f64>,
    heads: Vec<Vec<u32>>,
}
