//! Every code that a record can be held or flagged with: a wrong example that bears it, and a right
//! one, as near to it as can be, that does not. Doubts that look at other visits are in `doubts.rs`.

use std::collections::BTreeSet;
use std::path::Path;

use scouting::visit::code::{Class, Code};
use serde_json::{Value, json};

use crate::support::sheet::bsm_eggs_text;
use crate::support::{TestWorkspace, full_visit};

/// A visit to be bent, as text and as a value.
type Bend = fn(&mut Value);

struct Example {
    code: Code,
    flag: bool,
    wrong: Bend,
    right: Bend,
}

const fn held(code: Code, wrong: Bend, right: Bend) -> Example {
    Example {
        code,
        flag: false,
        wrong,
        right,
    }
}

const fn flag(code: Code, wrong: Bend, right: Bend) -> Example {
    Example {
        code,
        flag: true,
        wrong,
        right,
    }
}

fn set(visit: &mut Value, pointer: &str, value: Value) {
    *visit
        .pointer_mut(pointer)
        .unwrap_or_else(|| panic!("{pointer}")) = value;
}

/// Amounts in another currency than that of the protocol's bounds.
fn canadian(visit: &mut Value) {
    for amount in ["treatment_cost", "market_value"] {
        set(
            visit,
            &format!("/economics/{amount}/currency"),
            json!("CAD"),
        );
    }
}

/// A visit whose field has a county and no point.
fn by_county_alone(visit: &mut Value, county: &str) {
    remove(visit, "/field", "lon");
    remove(visit, "/field", "lat");
    add(visit, "/field", "county_id", json!(county));
}

/// A visit on July 21 that says this of a treatment.
fn treated(visit: &mut Value, on: Option<&str>, kind: Option<&str>) {
    for (name, said) in [("treated_on", on), ("treatment", kind)] {
        if let Some(said) = said {
            add(visit, "", name, json!(said));
        }
    }
}

/// A visit of corn, where each plant bears egg masses or not; what is written for one plant.
fn egg_masses(visit: &mut Value, plant: u32) {
    set(visit, "/protocol", json!("wbc-egg-masses"));
    set(visit, "/field/crop_type", json!("field-corn"));
    set(visit, "/crop_stage", json!("VT"));
    let mut sites: Vec<Value> = (1..=5)
        .map(|site| json!({"site": site, "plants": vec![0; 20]}))
        .collect();
    sites[3]["plants"][7] = json!(plant);
    set(visit, "/sites", json!(sites));
}

/// A visit under the protocol with zones, its sites in these two.
fn zones(visit: &mut Value, [first, others]: [&str; 2]) {
    set(visit, "/protocol", json!("zoned"));
    for site in 0..4 {
        let zone = if site == 0 { first } else { others };
        visit["sites"][site]["side"] = json!(zone);
    }
}

/// A visit that counts lygus bugs at this stage.
fn lygus(visit: &mut Value, stage: &str) {
    set(visit, "/protocol", json!("lygus-confection"));
    set(visit, "/field/crop_type", json!("dehull"));
    set(visit, "/crop_stage", json!(stage));
    let mut plants = vec![0; 20];
    plants[7] = 1;
    let sites: Vec<Value> = (1..=5)
        .map(|site| json!({"site": site, "plants": plants}))
        .collect();
    set(visit, "/sites", json!(sites));
}

fn add(visit: &mut Value, pointer: &str, name: &str, value: Value) {
    visit.pointer_mut(pointer).unwrap()[name] = value;
}

fn remove(visit: &mut Value, pointer: &str, name: &str) {
    visit
        .pointer_mut(pointer)
        .unwrap()
        .as_object_mut()
        .unwrap()
        .remove(name)
        .unwrap();
}

/// Text that represents a piece that no JSON value can hold; `text_of` puts the piece in.
const PIECE: &str = "@piece@";

#[rustfmt::skip]
const EXAMPLES: &[Example] = &[
    // What is no visit of the schema.
    held(Code::NotJson, |v| set(v, "/field/area_ha", json!(format!("{PIECE}NaN"))), |v| set(v, "/field/area_ha", json!(format!("{PIECE}62.40e0")))),
    held(Code::NestedTooDeep, |v| set(v, "/remarks", json!(format!("{PIECE}{}{}", "[".repeat(128), "]".repeat(128)))), |v| set(v, "/remarks", json!("[".repeat(128)))),
    held(Code::DuplicateMember, |v| set(v, "/protocol", json!(format!("{PIECE}\"bsm-eggs\",\"protocol\":\"bsm-eggs\""))), |v| set(v, "/remarks", json!("\"protocol\":\"bsm-eggs\",\"protocol\":"))),
    held(Code::RecordTooLong, |v| set(v, "/remarks", json!("x".repeat(1 << 20))), |v| set(v, "/remarks", json!("x".repeat(4_000)))),
    held(Code::MemberMissing, |v| remove(v, "", "crop_stage"), |v| remove(v, "", "remarks")),
    held(Code::MemberUnknown, |v| add(v, "/field", "owner", json!("x")), |v| add(v, "/field", "farm_id", json!("x"))),
    held(Code::WrongType, |v| set(v, "/sites/0/heads/0/0", json!(0.5)), |v| set(v, "/sites/0/heads/0/0", json!(5.0))),
    held(Code::OutOfRange, |v| set(v, "/sites/0/heads/0/0", json!(1_000_001)), |v| set(v, "/sites/0/site", json!(1_000_000))),
    held(Code::WrongLength, |v| set(v, "/observer_id", json!("x".repeat(201))), |v| set(v, "/observer_id", json!("x".repeat(200)))),
    held(Code::WrongForm, |v| set(v, "/observed_on", json!("07/21/2026")), |v| set(v, "/observed_on", json!("2026-07-20"))),
    held(Code::CountsNotOneForm, |v| add(v, "/sites/0", "plants", json!([1])), |v| add(v, "/sites/0", "side", json!("N"))),
    held(Code::MoreFindings, |v| (0..101).for_each(|number| add(v, "", &format!("m{number}"), json!(1))), |v| set(v, "/remarks", json!("m"))),
    // What the trade rules refuse.
    held(Code::ProtocolUnknown, |v| set(v, "/protocol", json!("bsm-egg")), |v| set(v, "/protocol", json!("bsm-eggs"))),
    held(Code::DateOutsideSeason, |v| { set(v, "/observed_on", json!("2026-05-31")) }, |v| { set(v, "/observed_on", json!("2026-06-01")) }),
    held(Code::DateAfterSubmission, |v| set(v, "/observed_on", json!("2026-07-22")), |v| set(v, "/observed_on", json!("2026-07-21"))),
    held(Code::DateTooOld, |v| set(v, "/observed_on", json!("1999-07-21")), |v| { set(v, "/observed_on", json!("2000-07-21")); set(v, "/submitted_at", json!("2000-07-22T18:00:00Z")) }),
    held(Code::OtherSeason, |v| set(v, "/observed_on", json!("2025-09-20")), |v| { set(v, "/observed_on", json!("2025-09-20")); set(v, "/submitted_at", json!("2026-01-18T18:00:00Z")) }),
    held(Code::TreatedAfterVisit, |v| treated(v, Some("2026-07-22"), Some("other")), |v| treated(v, Some("2026-06-21"), Some("other"))),
    held(Code::TreatedLongBeforeVisit, |v| treated(v, Some("2026-01-21"), Some("insecticide")), |v| treated(v, Some("2026-01-22"), Some("insecticide"))),
    held(Code::UntreatedWithDate, |v| treated(v, Some("2026-06-21"), Some("none")), |v| treated(v, None, Some("none"))),
    held(Code::StageUnknown, |v| set(v, "/crop_stage", json!("R10")), |v| set(v, "/crop_stage", json!("R9"))),
    held(Code::CropTypeUnknown, |v| set(v, "/field/crop_type", json!("maize")), |v| set(v, "/field/crop_type", json!("confection"))),
    held(Code::CountFormWrong, |v| set(v, "/sites/0", json!({"site": 1, "plants": [0, 1, 2, 3, 4]})), |v| set(v, "/sites/0", json!({"site": 1, "heads": vec![vec![0; 6]; 5]}))),
    held(Code::CountsPerHeadWrong, |v| set(v, "/sites/3/heads/4", json!([0, 0, 0, 0, 0])), |v| set(v, "/sites/3/heads/4", json!([0, 0, 0, 0, 0, 9]))),
    held(Code::ZoneMissing, |v| zones(v, ["edge", "north"]), |v| zones(v, ["edge", "inside"])),
    held(Code::CountAboveMost, |v| egg_masses(v, 2), |v| egg_masses(v, 1)),
    // The bound is that of pipeline/protocols/bsm-eggs.toml.
    held(Code::CountImpossible, |v| set(v, "/sites/3/heads/4", json!([0, 0, 600, 0, 0, 0])), |v| set(v, "/sites/3/heads/4", json!([0, 0, 599, 0, 0, 0]))),
    held(Code::SiteRepeated, |v| set(v, "/sites/3/site", json!(1)), |v| set(v, "/sites/3/site", json!(9))),
    held(Code::CurrenciesDiffer, |v| set(v, "/economics/market_value/currency", json!("CAD")), |v| set(v, "/economics/market_value/currency", json!("USD"))),
    held(Code::EconomicsMissing, |v| remove(v, "/economics", "market_value"), |v| set(v, "/economics/market_value/amount", json!(0.17))),
    // The bounds are those of pipeline/protocols/bsm-eggs.toml.
    held(Code::TreatmentCostImplausible, |v| set(v, "/economics/treatment_cost/amount", json!(120.01)), |v| set(v, "/economics/treatment_cost/amount", json!(120.0))),
    held(Code::MarketValueImplausible, |v| set(v, "/economics/market_value/amount", json!(16)), |v| set(v, "/economics/market_value/amount", json!(4.0))),
    held(Code::CostToValueImplausible, |v| { canadian(v); set(v, "/economics/treatment_cost/amount", json!(100_000)) }, |v| set(v, "/economics/treatment_cost/amount", json!(8.0))),
    held(Code::PlantPopulationImplausible, |v| set(v, "/economics/plant_population/count", json!(1_499)), |v| set(v, "/economics/plant_population/count", json!(1_500))),
    held(Code::AreaImplausible, |v| set(v, "/field/area_ha", json!(0.09)), |v| set(v, "/field/area_ha", json!(0.1))),
    held(Code::OutsideRegion, |v| set(v, "/field/lon", json!(100.12345)), |v| set(v, "/field/lon", json!(-100.12))),
    held(Code::CountyUnknown, |v| by_county_alone(v, "Lymann"), |v| add(v, "/field", "county_id", json!("46085"))),
    // The visit "known" is loaded before with these counts.
    held(Code::RevisionConflict, |v| { set(v, "/visit_id", json!("known")); set(v, "/crop_stage", json!("R2")) }, |v| { set(v, "/visit_id", json!("known")); set(v, "/revision", json!(2)) }),
    held(Code::IdIsPrivate, |v| set(v, "/observer_id", json!("(605) 555-0123")), |v| set(v, "/observer_id", json!("obs-605"))),
    held(Code::IdIsAMark, |v| set(v, "/field/field_id", json!("?")), |v| set(v, "/field/field_id", json!("F-?"))),
    held(Code::IdIsADate, |v| set(v, "/field/field_id", json!("2026-03-04")), |v| set(v, "/field/field_id", json!("3-4"))),
    // What is doubtful, and accepted.
    flag(Code::TooFewSites, |v| { v["sites"].as_array_mut().unwrap().pop(); }, |v| v["sites"].as_array_mut().unwrap().push(json!({"site": 5, "heads": vec![vec![0; 6]; 5]}))),
    flag(Code::TooFewUnits, |v| { v["sites"][2]["heads"].as_array_mut().unwrap().pop(); }, |v| v["sites"][2]["heads"].as_array_mut().unwrap().push(json!(vec![0; 6]))),
    flag(Code::CountEarly, |v| set(v, "/crop_stage", json!("R2")), |v| set(v, "/crop_stage", json!("R3"))),
    flag(Code::CountLate, |v| lygus(v, "R5.2"), |v| lygus(v, "R5.1")),
    flag(Code::CurrencyUnchecked, canadian, |v| set(v, "/economics/market_value/currency", json!("USD"))),
    // Lyman County, 46085, holds the point; 46003 is another of the state, 20001 is not in it.
    flag(Code::CountyMismatch, |v| add(v, "/field", "county_id", json!("46003")), |v| add(v, "/field", "county_id", json!("46085"))),
    flag(Code::CountyNotInRegion, |v| add(v, "/field", "county_id", json!("20001")), |v| add(v, "/field", "county_id", json!("46085"))),
    flag(Code::PointUnknown, |v| by_county_alone(v, "lyman"), |v| add(v, "/field", "county_id", json!("46085"))),
    flag(Code::AfterTreatment, |v| treated(v, Some("2026-07-07"), Some("insecticide")), |v| treated(v, Some("2026-07-06"), Some("insecticide"))),
    flag(Code::TreatmentWithoutDate, |v| treated(v, None, Some("insecticide")), |v| treated(v, None, Some("none"))),
    flag(Code::TreatmentWithoutKind, |v| treated(v, Some("2026-07-06"), None), |v| treated(v, Some("2026-07-06"), Some("other"))),
    flag(Code::ByteOrderMark, |v| set(v, "/remarks", json!("@mark@")), |v| set(v, "/remarks", json!("\u{feff}"))),
    flag(Code::HeldIdUnknown, |v| *v = json!({"held_id": "0123456789abcdef-7", "record": v.clone()}), |_| {}),
];

/// Codes of a gap of our own between schema and types, of which no record is known: `schema.rs` holds
/// the two together.
const WITHOUT_EXAMPLE: [Code; 1] = [Code::NotRepresentable];

/// The visit as a line, with pieces that are no JSON put in.
fn text_of(visit: &Value) -> String {
    let text = visit.to_string();
    let mark = if text.contains("@mark@") {
        "\u{feff}"
    } else {
        ""
    };
    let Some(start) = text.find(&format!("\"{PIECE}")) else {
        return format!("{mark}{text}");
    };
    let mut texts = serde_json::Deserializer::from_str(&text[start..]).into_iter::<String>();
    let piece = texts.next().unwrap().unwrap();
    let end = start + texts.byte_offset();
    format!(
        "{}{}{}",
        &text[..start],
        &piece[PIECE.len()..],
        &text[end..]
    )
}

fn example(visit_id: &str, bend: Bend) -> String {
    let mut visit = full_visit(visit_id);
    visit["remarks"] = json!("as usual");
    bend(&mut visit);
    text_of(&visit)
}

/// The flags of a submission without the doubts that look at other visits: these examples bend one visit
/// in every direction, and their doubts are in tests/doubts.rs.
fn flags_of_rules(submission: &Value) -> Value {
    let mut flags = submission["flags"].clone();
    for code in scouting::visit::rules::doubts::CODES {
        flags.as_object_mut().unwrap().remove(code.as_str());
    }
    flags
}

#[test]
fn every_code_stands_on_its_wrong_example_and_not_on_its_right_one() {
    let workspace = TestWorkspace::of_region("us:46");
    let zoned = bsm_eggs_text().replace(
        "[stages]",
        "[sample.zones]\nedge = 0.25\ninside = 0.75\n\n[stages]",
    );
    let protocols = workspace.path().join("protocols");
    std::fs::create_dir_all(&protocols).expect("a folder");
    std::fs::write(protocols.join("zoned.toml"), zoned).expect("a file");
    let mut files = vec![workspace.write("known", full_visit("known").to_string())];
    for Example {
        code, wrong, right, ..
    } in EXAMPLES
    {
        let lines = [
            example(&format!("{code}-wrong"), *wrong),
            example(&format!("{code}-right"), *right),
        ];
        files.push(workspace.write(code.as_str(), lines.join("\n")));
    }
    let files: Vec<&Path> = files.iter().map(|file| file.as_path()).collect();
    let account = workspace.load(&files);
    let submissions = account["submissions"].as_array().unwrap();
    for (Example { code, flag, .. }, submission) in EXAMPLES.iter().zip(&submissions[1..]) {
        let held = submission["held_records"].as_array().unwrap();
        if *flag {
            assert!(held.is_empty(), "{code}: {submission:#}");
            assert_eq!(
                flags_of_rules(submission),
                json!({code.as_str(): 1}),
                "{code}"
            );
            continue;
        }
        assert_eq!(held.len(), 1, "{code}: {submission:#}");
        assert_eq!(held[0]["line"], 1, "{code}: {submission:#}");
        assert_eq!(submission["accepted"], 1, "{code}: {submission:#}");
        assert_eq!(flags_of_rules(submission), json!({}), "{code}");
        let codes: BTreeSet<&str> = held[0]["findings"]
            .as_array()
            .unwrap()
            .iter()
            .map(|finding| finding["code"].as_str().unwrap())
            .collect();
        let expected = match code {
            Code::MoreFindings => BTreeSet::from(["member-unknown", "more-findings"]),
            code => BTreeSet::from([code.as_str()]),
        };
        assert_eq!(codes, expected, "{submission:#}");
    }
}

#[test]
fn no_code_is_without_its_examples() {
    // What is wrong with the cells of a table has its examples in tests/mapping.rs and tests/sheet.rs, what
    // is flagged against other visits in tests/doubts.rs.
    let needed = Code::ALL.iter().filter(|code| match code.class() {
        Class::Schema | Class::Rule | Class::Flag => true,
        Class::Cell | Class::CountSheet | Class::Doubt | Class::Unknown => false,
    });
    let needed: BTreeSet<Code> = needed.copied().collect();
    let examples = EXAMPLES.iter().map(|example| example.code);
    let in_table: BTreeSet<Code> = examples.chain(WITHOUT_EXAMPLE).collect();
    assert_eq!(in_table, needed);
}
