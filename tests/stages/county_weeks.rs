//! Stage 50: the full county-week.

use arrow::array::RecordBatch;

use super::cells;
use crate::support::stages::{FIELD_WEEK, run, table};
use crate::thresholds::{Thresholds, US};

fn county_week_full(rows: &str) -> RecordBatch {
    let given = [
        ("field_week", table(&format!("{FIELD_WEEK}\n{rows}"))),
        (
            "county",
            table("county_id:text county_name:text\nA Ash\nB Birch"),
        ),
    ];
    run("county_week_full", &given)
}

#[test]
fn a_county_week_has_the_figures_worked_out_by_hand() {
    let found = county_week_full(
        "F1 A - true  10 0.5
         F2 A - true  20 1.0
         F3 A - true  30 1.5
         F4 A - true  40 0.0
         F5 A - false 99 9.0",
    );
    let columns = "county_name fields_visited fields_at_threshold share_at_threshold mean_pressure \
        median_pressure max_pressure area_share_at_threshold fields_outside_stage";
    // 50 of 100 hectares; the field outside the window is counted and adds to nothing else.
    assert_eq!(cells(&found, columns), ["Ash 4 2 0.5 0.75 0.75 1.5 0.5 1"]);
}

#[test]
fn fields_with_assumed_economics_are_counted_in_the_window_alone() {
    let columns = FIELD_WEEK.replace(
        "economics_assumed:boolean=false",
        "economics_assumed:boolean",
    );
    let rows = "F1 A - true  10 0.5 true
         F2 A - true  10 0.5 false
         F3 A - true  10 1.5 true
         F4 A - false 10 0.5 true
         F5 B - false 10 0.5 true";
    let given = [
        ("field_week", table(&format!("{columns}\n{rows}"))),
        (
            "county",
            table("county_id:text county_name:text\nA Ash\nB Birch"),
        ),
    ];
    let found = run("county_week_full", &given);
    let columns = "county_id fields_visited fields_with_assumed_economics fields_outside_stage";
    assert_eq!(cells(&found, columns), ["A 3 2 1", "B 0 0 1"]);
}

#[test]
fn undetermined_fields_are_counted_and_the_window_spans_the_fields_within_the_stage_window() {
    let columns = FIELD_WEEK
        .replace("undetermined:boolean=-", "undetermined:boolean")
        .replace("window_opens:date=-", "window_opens:date")
        .replace("window_closes:date=-", "window_closes:date")
        .replace("window_basis:text=-", "window_basis:text");
    let rows = "F1 A - true  10 0.5 true  2026-07-30 2026-08-09 days
         F2 A - true  10 0.5 false 2026-07-25 2026-08-03 weather
         F3 A - true  10 1.5 -     -          -          -
         F4 A - false 10 0.5 true  2026-07-01 2026-09-01 days
         F5 B - true  10 0.5 -     2026-07-01 2026-09-01 days
         F6 C - true  10 0.5 -     -          -          -";
    let given = [
        ("field_week", table(&format!("{columns}\n{rows}"))),
        ("county", table("county_id:text county_name:text\nA Ash")),
    ];
    let found = run("county_week_full", &given);
    let columns = "fields_visited fields_undetermined window_opens window_closes window_basis";
    assert_eq!(
        cells(&found, columns),
        [
            "3 1 2026-07-25 2026-08-09 both",
            "1 0 2026-07-01 2026-09-01 days",
            "1 0 - - -",
        ]
    );
}

#[test]
fn a_field_exactly_at_its_threshold_is_at_threshold_and_one_below_is_not() {
    // 1 - 2e-16 is the double next below 1: what binary arithmetic can make of an exact tie. No count of
    // eggs comes nearer than 1e-12 without being a tie.
    for (pressure, at_threshold) in [
        ("1.0", "1"),
        ("0.9999999999999998", "1"),
        ("0.999999999", "0"),
        ("0.99999999999", "0"),
    ] {
        let found = county_week_full(&format!("F1 A - true 10 {pressure}"));
        assert_eq!(
            cells(&found, "fields_at_threshold"),
            [at_threshold],
            "{pressure}"
        );
    }
}

#[test]
fn every_tie_that_a_scout_can_count_comes_out_at_threshold_in_the_protocol_s_own_arithmetic() {
    // Costs that cancel the constant make the threshold a mean that can be counted:
    // 7.8 / (value x plants x 0.00078) = 10,000 / (value x plants).
    let eggs = Thresholds::of("bsm-eggs");
    let mut ties = 0;
    for (value, plants) in [
        (0.16, 25000.0),
        (0.125, 20000.0),
        (0.2, 20000.0),
        (0.25, 16000.0),
    ] {
        for (cost, constants) in [(7.8, 1.0), (15.6, 2.0), (3.9, 0.5)] {
            let threshold = eggs.threshold(cost, value, plants, US);
            let counted = constants * 10_000.0 / (value * plants);
            let pressure = counted / threshold;
            let found = county_week_full(&format!("F1 A - true 10 {pressure}"));
            assert_eq!(cells(&found, "fields_at_threshold"), ["1"], "{pressure}");
            ties += 1;
        }
    }
    assert_eq!(ties, 12);
}

#[test]
fn a_county_with_fields_outside_the_window_only_has_counts_and_no_figure() {
    let found = county_week_full("F1 B - false 10 2.0\nF2 B - false 10 0.5");
    let columns = "county_name fields_visited fields_at_threshold fields_outside_stage \
        share_at_threshold share_low share_high mean_pressure median_pressure p90_pressure \
        max_pressure area_share_at_threshold";
    assert_eq!(cells(&found, columns), ["Birch 0 0 2 - - - - - - - -"]);
}

#[test]
fn a_county_that_left_the_region_keeps_its_row_under_its_id() {
    let found = county_week_full("F1 X9 - true 10 0.5");
    assert_eq!(cells(&found, "county_id county_name"), ["X9 X9"]);
}

#[test]
fn a_field_without_a_farm_counts_as_a_farm_and_is_never_taken_for_one_of_that_name() {
    let found = county_week_full(
        "F1 A F2    true 10 0.5
         F2 A -     true 10 0.5
         F3 A farm9 true 10 0.5
         F4 A farm9 true 10 0.5",
    );
    assert_eq!(cells(&found, "farms_given farms"), ["3 3"]);
}

#[test]
fn farms_are_those_of_the_fields_in_the_window_and_of_the_others_only_where_there_is_none() {
    let found = county_week_full(
        "F1 A a true  10 0.5
         F2 A b false 10 0.5
         F3 B c false 10 0.5
         F4 B c false 10 0.5
         F5 B - false 10 0.5",
    );
    let columns = "county_id fields_outside_stage farms_given farms";
    assert_eq!(cells(&found, columns), ["A 1 1 1", "B 3 2 2"]);
}

#[test]
fn treated_fields_are_counted_as_such_and_add_to_nothing_else() {
    let columns = FIELD_WEEK.replace("after_treatment:boolean=false", "after_treatment:boolean");
    let rows = "F1 A a true  10 0.5 false
         F2 A b true  20 1.5 false
         F3 A c true  40 9.0 true
         F4 A d false 40 9.0 true
         F5 B e true  10 0.0 true
         F6 B f true  10 0.0 true";
    let given = [
        ("field_week", table(&format!("{columns}\n{rows}"))),
        ("county", table("county_id:text county_name:text\nA Ash")),
    ];
    let found = run("county_week_full", &given);
    let columns = "county_id fields_visited fields_at_threshold fields_treated fields_outside_stage farms_given farms \
        mean_pressure max_pressure area_share_at_threshold";
    // 20 of 30 hectares. A treated field outside the window is one of those outside it: its stage is as good as any.
    assert_eq!(
        cells(&found, columns),
        [
            "A 2 1 1 1 2 2 1.0 1.5 0.6666666666666666",
            "B 0 0 2 0 2 2 - - -"
        ]
    );
}

#[test]
fn weeks_protocols_and_counties_are_never_pooled() {
    let field_week = table(
        "field_id:text county_id:text iso_week:text protocol:text farm_id:text=- \
         in_window:boolean=true area_ha:double=10 pressure:double=0.5 season:int=2026 \
         economics_assumed:boolean=false undetermined:boolean=- window_opens:date=- \
         window_closes:date=- window_basis:text=- after_treatment:boolean=false
         F1 A 2026-W30 eggs
         F1 A 2026-W31 eggs
         F1 A 2026-W30 adults
         F2 B 2026-W30 eggs",
    );
    let county = table("county_id:text county_name:text\nA Ash\nB Birch");
    let given = [("field_week", field_week), ("county", county)];
    let expected = [
        "A 2026-W30 adults 1",
        "A 2026-W30 eggs 1",
        "A 2026-W31 eggs 1",
        "B 2026-W30 eggs 1",
    ];
    let found = run("county_week_full", &given);
    assert_eq!(
        cells(&found, "county_id iso_week protocol fields_visited"),
        expected
    );
}
