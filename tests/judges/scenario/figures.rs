//! Figures of fields: loss, benefit and thresholds against an independent computation.

use scouting::region::Region;
use serde_json::{Value, json};

use super::{cell, scenario};
use crate::support::issuing::{COUNTIES, loaded, visits};
use crate::support::scenario::HECTARES_PER_ACRE;
use crate::support::thresholds::assert_near;
use crate::support::{TestWorkspace, lines};

fn number(row: &Value, name: &str) -> f64 {
    row[name]
        .as_f64()
        .unwrap_or_else(|| panic!("{name} of {row:#}"))
}

/// J. Econ. Entomol. 101(3):969-975 (2008): EIL = C / (V W P K), W K = 0.00078 lb (the constants: common practice,
/// no source). At 20,000 plants an acre an egg counted costs 15.6 lb, at 0.16 USD a lb 2.496 USD an acre. The fields
/// of the week have means of 2, 3, 4 and 5 eggs; treating costs 8 USD an acre.
#[test]
fn loss_and_benefit_of_a_field_are_those_of_the_published_relation() {
    let (workspace, _) = loaded();
    let report = scenario(&workspace, "half", "price=*0.5");
    assert_eq!(report.said["scenario"], "price=*0.5");
    assert_eq!(report.said["without_damage_relation"], json!([]));
    assert_eq!(report.fields.len(), 14);
    for field in &report.fields {
        let eggs = number(field, "field_mean");
        let near = |name: &str, expected: f64| {
            assert_near(
                number(field, name),
                expected,
                expected.abs() * 1e-9 + 1e-9,
                name,
            );
        };
        near("threshold_as_recorded", 8.0 / 2.496);
        near("threshold", 8.0 / 1.248);
        near("pressure", eggs * 1.248 / 8.0);
        near("treatment_cost_per_ha", 8.0 / HECTARES_PER_ACRE);
        near(
            "saved_kg_per_ha",
            eggs * 15.6 * 0.453_592_37 / HECTARES_PER_ACRE,
        );
        near("loss_avoided_per_ha", eggs * 1.248 / HECTARES_PER_ACRE);
        near(
            "net_benefit_per_ha",
            (eggs * 1.248 - 8.0) / HECTARES_PER_ACRE,
        );
        assert_eq!(field["currency"], "USD");
        assert_eq!(field["scenario"], "price=*0.5");
    }
    let of_four = report
        .counties
        .iter()
        .filter(|row| row["fields_visited"] == "4");
    assert_eq!(of_four.clone().count(), 3);
    for county in of_four {
        // Means of 2, 3, 4 and 5 eggs: 3.5. As recorded 4 and 5 are at threshold (3.205), at half the price none (6.41).
        assert_eq!(county["fields_at_threshold_as_recorded"], "2");
        assert_eq!(county["fields_at_threshold"], "0");
        let near = |name: &str, expected: f64| {
            assert_near(
                cell(county, name),
                expected,
                expected.abs() * 1e-9 + 1e-9,
                name,
            );
        };
        near("mean_pressure_as_recorded", 3.5 * 2.496 / 8.0);
        near("mean_pressure", 3.5 * 1.248 / 8.0);
        near("mean_treatment_cost_per_ha", 8.0 / HECTARES_PER_ACRE);
        near("mean_loss_avoided_per_ha", 3.5 * 1.248 / HECTARES_PER_ACRE);
        near(
            "mean_net_benefit_per_ha",
            (3.5 * 1.248 - 8.0) / HECTARES_PER_ACRE,
        );
        near("gain_at_threshold_per_ha", 0.0);
    }

    // 12 USD an acre and 0.32 USD a lb: 4.992 USD an acre an egg; 3, 4 and 5 eggs are above 2.404.
    let report = scenario(&workspace, "both", "cost=12USD/acre,price=0.32USD/lb");
    for county in report
        .counties
        .iter()
        .filter(|row| row["fields_visited"] == "4")
    {
        assert_eq!(county["fields_at_threshold"], "3");
        let gain = (12.0 * 4.992 - 3.0 * 12.0) / 4.0 / HECTARES_PER_ACRE;
        assert_near(cell(county, "gain_at_threshold_per_ha"), gain, 1e-9, "gain");
    }
}

#[test]
fn identities_of_thresholds_and_money_hold() {
    let (workspace, _) = loaded();
    let as_recorded = scenario(&workspace, "same", "price=*1");
    for (name, with, times, money) in [
        ("price", "price=*0.5", 2.0, None),
        ("cost", "cost=*3", 3.0, None),
        ("population", "population=*2", 0.5, None),
        // In another money all is the same but the money.
        ("money", "cost=*2.5,price=*2.5", 1.0, Some(2.5)),
    ] {
        let report = scenario(&workspace, name, with);
        for (field, before) in report.fields.iter().zip(&as_recorded.fields) {
            assert_eq!(field["visit_id"], before["visit_id"]);
            assert_eq!(field["threshold_as_recorded"], before["threshold"]);
            let expected = number(before, "threshold") * times;
            assert_near(number(field, "threshold"), expected, 1e-9, with);
            // The relation is the one of the threshold: net benefit = cost x (pressure - 1).
            let cost = number(field, "treatment_cost_per_ha");
            let benefit = cost * (number(field, "pressure") - 1.0);
            assert_near(number(field, "net_benefit_per_ha"), benefit, 1e-9, with);
            if let Some(money) = money {
                let before = number(before, "net_benefit_per_ha");
                assert_near(
                    number(field, "net_benefit_per_ha"),
                    money * before,
                    1e-9,
                    with,
                );
            }
        }
    }
    // 4 eggs x 2.496: the field with 4 eggs is exactly at threshold, and gains and loses nothing.
    let report = scenario(&workspace, "even", "cost=9.984USD/acre");
    let even = report
        .fields
        .iter()
        .filter(|field| number(field, "field_mean") == 4.0);
    assert!(even.clone().count() >= 3);
    for field in even {
        assert_near(number(field, "pressure"), 1.0, 1e-12, "pressure");
        assert_near(
            number(field, "net_benefit_per_ha"),
            0.0,
            1e-9,
            "net benefit",
        );
    }
    for county in report
        .counties
        .iter()
        .filter(|row| row["fields_visited"] == "4")
    {
        assert_eq!(county["fields_at_threshold"], "2");
    }
}

/// Where a protocol's file states no relation, nothing is put in its place, and it is said.
#[test]
fn a_protocol_without_a_relation_has_no_money_and_a_fixed_threshold_stays() {
    let region = Region::built_in("us:46").expect("South Dakota");
    let mut all = visits(&region, COUNTIES[0], 4, "2026-07-21", 1);
    for visit in &mut all {
        visit["protocol"] = "sunflower-moth-adults".into();
        visit["crop_stage"] = "R5.1".into();
        visit["sites"] = (1..=5)
            .map(|site| json!({"site": site, "plants": [1, 0, 0, 2, 0]}))
            .collect();
    }
    let workspace = TestWorkspace::of_region("us:46");
    let account = workspace.load_text("moths.ndjson", &lines(&all));
    assert_eq!(account["accepted"], 4, "{account:#}");
    let report = scenario(&workspace, "what-if", "price=*0.5");
    assert_eq!(
        report.said["thresholds_unmoved"],
        json!(["sunflower-moth-adults"])
    );
    assert_eq!(
        report.said["without_damage_relation"],
        json!(["sunflower-moth-adults"])
    );
    for field in &report.fields {
        assert_eq!(field["threshold"], field["threshold_as_recorded"]);
        assert_eq!(field["saved_kg_per_ha"], Value::Null);
        assert_eq!(field["net_benefit_per_ha"], Value::Null);
    }
    let county = &report.counties[0];
    assert_eq!(
        (&*county["fields_visited"], &*county["currency"]),
        ("4", "")
    );
    assert_eq!(county["mean_net_benefit_per_ha"], "");
    let page = std::fs::read_to_string(workspace.beside("what-if").join("SCENARIO.md"));
    let page = page.expect("the page");
    assert!(
        page.contains("`sunflower-moth-adults`: its file states no relation"),
        "{page}"
    );
    assert!(page.contains("depend on none of this"), "{page}");
}
