//! Each SQL stage on a few rows written out here gives the rows written out here; and the runner refuses a
//! stage whose header does not say the truth.
//!
//! The tables are written as text: a line of `name:type`, then a line a row, cells apart by spaces, `-` for
//! null. `name:type=value` is a column that has this value in every row and is not written out.

use arrow::array::RecordBatch;
use arrow::util::display::array_value_to_string;
use bractline::failure::{Failure, Kind};
use bractline::rollup::stages::{Stage, public_stages};

use crate::support::stages::{FIELD_WEEK, run, table, try_stage};
use crate::thresholds::{Thresholds, US};

/// The rows of some columns as text, one line a row, `-` for null.
fn cells(batch: &RecordBatch, columns: &str) -> Vec<String> {
    let shown = |name: &str, row: usize| {
        let column = batch.column_by_name(name).expect("a column of the table");
        match column.is_null(row) {
            true => "-".to_owned(),
            false => array_value_to_string(column, row).expect("a value has a text"),
        }
    };
    (0..batch.num_rows())
        .map(|row| {
            let cells = columns.split_whitespace().map(|name| shown(name, row));
            cells.collect::<Vec<_>>().join(" ")
        })
        .collect()
}

// --- 10 newest_revision, 15 current_visit --------------------------------------------------------

const VISITS: &str = "load_id:text visit_id:text revision:int retracted:boolean field_mean:double \
    field_id:text=F1 farm_id:text=- county_id:text=A season:int=2026 iso_week:text=2026-W30 \
    observed_on:date=2026-07-21 protocol:text=bsm-eggs crop_type:text=oilseed crop_stage:text=R3 \
    stage_first:int=1030 stage_last:int=1030 lon:double=-100.1 lat:double=44.1 area_ha:double=50 treatment_cost_per_ha:double=20 \
    market_value_per_kg:double=0.4 plants_per_ha:double=50000 sites:int=4 units:int=20 variance_between_sites:double=- variance_within_sites:double=- standard_error:double=0.5 \
    assumed:text=-";

fn current_visits(rows: &str, receipts: &str) -> Vec<String> {
    let found = current_visit(&format!("{VISITS}\n{rows}"), receipts);
    cells(&found, "visit_id field_mean")
}

fn current_visit(visits: &str, receipts: &str) -> RecordBatch {
    let stored = [
        ("visits", table(visits)),
        ("receipts", table(&format!("load_id:text\n{receipts}"))),
    ];
    let newest = run("newest_revision", &stored);
    let [visits, receipts] = stored;
    run(
        "current_visit",
        &[visits, receipts, ("newest_revision", newest)],
    )
}

#[test]
fn the_highest_revision_counts_whichever_came_first() {
    let rows = "
        l1 once      1 false 1.0
        l1 mended    1 false 2.0
        l2 mended    2 false 2.5
        l1 overtaken 3 false 3.5
        l2 overtaken 1 false 3.0
        l2 overtaken 2 false 3.2";
    let expected = ["mended 2.5", "once 1.0", "overtaken 3.5"];
    assert_eq!(current_visits(rows, "l1\nl2"), expected);
}

#[test]
fn a_withdrawn_visit_is_gone_until_a_higher_revision_brings_it_back() {
    let rows = "
        l1 withdrawn 1 false 1.0
        l1 withdrawn 2 true  1.0
        l1 restored  1 false 2.0
        l1 restored  2 true  2.0
        l1 restored  3 false 2.7
        l1 early     2 true  3.0
        l2 early     1 false 3.0
        l1 never     1 true  4.0";
    assert_eq!(current_visits(rows, "l1\nl2"), ["restored 2.7"]);
}

#[test]
fn a_load_without_a_receipt_neither_counts_nor_supersedes() {
    let rows = "
        l1 seen   1 false 1.0
        l2 seen   2 false 9.0
        l2 unseen 1 false 9.0";
    assert_eq!(current_visits(rows, "l1"), ["seen 1.0"]);
    assert_eq!(current_visits(rows, "l1\nl2"), ["seen 9.0", "unseen 9.0"]);
}

#[test]
fn the_same_load_named_by_two_receipts_counts_once() {
    assert_eq!(
        current_visits("l1 seen 1 false 1.0", "l1\nl1"),
        ["seen 1.0"]
    );
}

#[test]
fn a_visit_whose_economics_were_assumed_says_so() {
    let visits = VISITS.replace("assumed:text=-", "assumed:text");
    let rows = "l1 given 1 false 1.0 -\nl1 partly 1 false 1.0 market_value";
    let found = current_visit(&format!("{visits}\n{rows}"), "l1");
    assert_eq!(
        cells(&found, "visit_id economics_assumed"),
        ["given false", "partly true"]
    );
}

// --- 20 visit_pressure ---------------------------------------------------------------------------

#[test]
fn pressure_is_the_mean_by_the_threshold_and_the_window_takes_both_its_ends() {
    // Places of the stages on the common order: R1 1010 … R5.0 1050 … R5.9 1059; R5 alone covers all of R5.
    let given = [
        (
            "visit_threshold",
            table(
                "visit_id:text crop_stage:text stage_first:int stage_last:int field_mean:double \
                 threshold:double field_id:text=F1 farm_id:text=- county_id:text=A season:int=2026 \
                 iso_week:text=2026-W30 observed_on:date=2026-07-21 protocol:text=eggs \
                 lon:double=-100 lat:double=44 area_ha:double=50 sites:int=4 units:int=20 variance_between_sites:double=- variance_within_sites:double=- standard_error:double=- economics_assumed:boolean=false
                 a R1   1010 1010 1 2
                 b R2   1020 1020 3 4
                 c R3   1030 1030 0 4
                 d R4   1040 1040 4 4
                 e R5.1 1051 1051 1 4
                 f R5   1050 1059 1 4",
            ),
        ),
        (
            "protocol_window",
            table("protocol:text stage_first:int stage_last:int\neggs 1020 1030\nadults 1051 1051"),
        ),
    ];
    let found = cells(
        &run("visit_pressure", &given),
        "visit_id pressure in_window",
    );
    let expected = [
        "a 0.5 false",
        "b 0.75 true",
        "c 0.0 true",
        "d 1.0 false",
        "e 0.25 false",
        "f 0.25 false",
    ];
    assert_eq!(found, expected);
}

#[test]
fn r5_alone_lies_in_no_window_that_names_a_tenth_of_r5_and_in_one_that_covers_all_of_it() {
    let windows = |first: i32, last: i32| {
        let given = [
            (
                "visit_threshold",
                table(
                    "visit_id:text stage_first:int stage_last:int crop_stage:text=R5 \
                     field_mean:double=1 threshold:double=2 field_id:text=F1 farm_id:text=- \
                     county_id:text=A season:int=2026 iso_week:text=2026-W30 \
                     observed_on:date=2026-07-21 protocol:text=adults lon:double=-100 lat:double=44 area_ha:double=50 sites:int=4 units:int=20 variance_between_sites:double=- variance_within_sites:double=- \
                     standard_error:double=- economics_assumed:boolean=false
                     alone 1050 1059
                     tenth 1051 1051",
                ),
            ),
            (
                "protocol_window",
                table(&format!(
                    "protocol:text stage_first:int stage_last:int\nadults {first} {last}"
                )),
            ),
        ];
        cells(&run("visit_pressure", &given), "visit_id in_window")
    };
    // R5.1 alone, R5.1 to R6, R4 to R5.2, and all of R5.
    assert_eq!(windows(1051, 1051), ["alone false", "tenth true"]);
    assert_eq!(windows(1051, 1060), ["alone false", "tenth true"]);
    assert_eq!(windows(1040, 1052), ["alone false", "tenth true"]);
    assert_eq!(windows(1050, 1059), ["alone true", "tenth true"]);
}

// --- 30 standing_visit ---------------------------------------------------------------------------

#[test]
fn the_last_visit_in_the_window_stands_and_others_only_where_there_is_none() {
    let pressures = table(
        "field_id:text visit_id:text iso_week:text observed_on:date in_window:boolean pressure:double \
         protocol:text=eggs season:int=2026 county_id:text=A farm_id:text=- crop_stage:text=R3 \
         lon:double=-100 lat:double=44 area_ha:double=50 sites:int=4 units:int=20 variance_between_sites:double=- variance_within_sites:double=- field_mean:double=1 standard_error:double=- threshold:double=2 \
         economics_assumed:boolean=false
         F1 a 2026-W30 2026-07-20 true  0.1
         F1 b 2026-W30 2026-07-22 true  0.2
         F1 c 2026-W30 2026-07-24 false 0.3
         F1 d 2026-W31 2026-07-27 true  0.4
         F2 e 2026-W30 2026-07-21 true  0.5
         F2 f 2026-W30 2026-07-21 true  0.6
         F3 g 2026-W30 2026-07-21 false 0.7
         F3 h 2026-W30 2026-07-23 false 0.8",
    );
    let found = run("standing_visit", &[("visit_pressure", pressures)]);
    // F1: b is later than a, and c does not count. F2: of one day, the higher visit_id. F3: kept apart.
    let expected = [
        "F1 2026-W30 b 0.2 true",
        "F1 2026-W31 d 0.4 true",
        "F2 2026-W30 f 0.6 true",
        "F3 2026-W30 h 0.8 false",
    ];
    assert_eq!(
        cells(&found, "field_id iso_week visit_id pressure in_window"),
        expected
    );
}

#[test]
fn one_field_under_two_protocols_stands_under_each() {
    let pressures = table(
        "visit_id:text protocol:text field_id:text=F1 iso_week:text=2026-W30 \
         observed_on:date=2026-07-21 in_window:boolean=true pressure:double=0.5 season:int=2026 \
         county_id:text=A farm_id:text=- crop_stage:text=R3 lon:double=-100 lat:double=44 area_ha:double=50 sites:int=4 units:int=20 variance_between_sites:double=- variance_within_sites:double=- \
         field_mean:double=1 standard_error:double=- threshold:double=2 economics_assumed:boolean=false
         a eggs
         b adults",
    );
    let found = run("standing_visit", &[("visit_pressure", pressures)]);
    assert_eq!(cells(&found, "protocol visit_id"), ["adults b", "eggs a"]);
}

// --- 40 field_week -------------------------------------------------------------------------------

#[test]
fn a_field_week_has_what_was_computed_of_its_visit_and_nulls_where_nothing_was() {
    let standing = table(
        "visit_id:text field_id:text field_mean:double standard_error:double sites:int mean_low:double \
         mean_high:double probability_at_threshold:double near_threshold:boolean hatch_from:date hatch_to:date \
         window_opens:date window_closes:date window_basis:text units:int=20 \
         variance_between_sites:double=- variance_within_sites:double=- \
         iso_week:text=2026-W30 observed_on:date=2026-07-21 in_window:boolean=true pressure:double=0.5 \
         protocol:text=eggs season:int=2026 county_id:text=A farm_id:text=- crop_stage:text=R3 \
         lon:double=-100 lat:double=44 area_ha:double=50 threshold:double=2 economics_assumed:boolean=false
         a F1 1.0 0.25 4 0.2 1.8 0.01 false 2026-07-26 2026-07-29 2026-07-25 2026-08-06 days
         b F2 1.0 -    1 -   -   -    -     -          -          -          -          -",
    );
    let found = run("field_week", &[("standing_figure", standing)]);
    let columns = "field_id mean_low mean_high probability_at_threshold near_threshold hatch_from \
        window_opens window_closes window_basis";
    assert_eq!(
        cells(&found, columns),
        [
            "F1 0.2 1.8 0.01 false 2026-07-26 2026-07-25 2026-08-06 days",
            "F2 - - - - - - - -",
        ]
    );
}

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
fn near_fields_are_counted_and_the_window_spans_the_fields_within_the_stage_window() {
    let columns = FIELD_WEEK
        .replace("near_threshold:boolean=-", "near_threshold:boolean")
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
    let columns = "fields_visited fields_near_threshold window_opens window_closes window_basis";
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
fn weeks_protocols_and_counties_are_never_pooled() {
    let field_week = table(
        "field_id:text county_id:text iso_week:text protocol:text farm_id:text=- \
         in_window:boolean=true area_ha:double=10 pressure:double=0.5 season:int=2026 \
         economics_assumed:boolean=false near_threshold:boolean=- window_opens:date=- \
         window_closes:date=- window_basis:text=-
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

// --- the public stages ---------------------------------------------------------------------------

/// Runs the public stage that makes a table on given tables.
fn try_public(name: &str, given: &[(&str, RecordBatch)]) -> Result<RecordBatch, Failure> {
    let stages = public_stages().expect("the stages can be read");
    let stage = stages.into_iter().find(|stage| stage.table == name);
    try_stage(
        &stage.unwrap_or_else(|| panic!("no stage makes {name}")),
        given,
    )
}

fn public(name: &str, given: &[(&str, RecordBatch)]) -> RecordBatch {
    try_public(name, given).unwrap_or_else(|failure| panic!("{failure}"))
}

/// Public rows of two counties, one district and the region in a week.
const PUBLIC_ROWS: &str = "
    place:text county_id:text district:text season:int=2026 iso_week:text=2026-W30 protocol:text=bsm-eggs edition:int visits_until:date=2026-07-26 level:text=survey fields_visited:bigint at_threshold_min:bigint at_threshold_max:bigint share_low:double share_high:double median_class:text median_from:double median_below:double mean_pressure:double=- fields_with_assumed_economics:bigint=0 fields_outside_stage:bigint treatment_first_week:text=- treatment_last_week:text=- window_basis:text=-
    A A - 2 6 4 4 0.3 0.9 1-1.5 1.0 1.5 0
    B B - 1 4 1 4 0.05 1.0 - - - -
    elsewhere_in_north - north 1 5 0 0 0.0 0.43 nothing-found 0.0 - 3
    elsewhere_in_the_region - - 1 0 0 0 - - - - - 4";

#[test]
fn public_rows_fall_into_those_of_counties_and_those_elsewhere() {
    let given = [
        ("public_row", table(PUBLIC_ROWS)),
        ("county", table("county_id:text county_name:text\nA Alder")),
        (
            "county_share_smoothed",
            table(
                "county_id:text iso_week:text protocol:text share_smoothed:double\nA 2026-W30 bsm-eggs 0.6",
            ),
        ),
    ];
    let found = public("county_week", &given);
    let columns = "county_id county_name edition fields_visited at_threshold_min at_threshold_max share_smoothed median_class";
    assert_eq!(
        cells(&found, columns),
        ["A Alder 2 6 4 4 0.6 1-1.5", "B B 1 4 1 4 - -"]
    );
    let found = public("elsewhere_week", &given[..1]);
    assert_eq!(
        cells(&found, "place district fields_visited fields_outside_stage"),
        [
            "elsewhere_in_north north 5 3",
            "elsewhere_in_the_region - 0 4"
        ]
    );
}

/// The weeks of the region of these rows, with this pattern of neighbors.
fn region_weeks(clustering: &str) -> Result<RecordBatch, Failure> {
    let columns = "season:int=2026 iso_week:text protocol:text=bsm-eggs fields_visited:bigint at_threshold_min:bigint at_threshold_max:bigint";
    let counties = "2026-W30 6 4 4\n2026-W30 4 1 4\n2026-W30 0 0 0\n2026-W31 0 0 0";
    let pattern =
        "protocol:text=bsm-eggs iso_week:text moran_counties:bigint moran_i:double moran_p:double";
    let given = [
        ("county_week", table(&format!("{columns}\n{counties}"))),
        (
            "elsewhere_week",
            table(&format!("{columns}\n2026-W30 5 0 0")),
        ),
        (
            "week_clustering",
            table(&format!("{pattern}\n{clustering}")),
        ),
    ];
    try_public("region_week", &given)
}

#[test]
fn the_week_of_the_region_is_the_sum_of_its_rows() {
    let found = region_weeks("2026-W30 3 -0.25 0.5").expect("a truthful stage");
    let columns = "iso_week counties_shown elsewhere_rows places_at_threshold fields_visited at_threshold_min at_threshold_max moran_counties moran_i";
    assert_eq!(
        cells(&found, columns),
        ["2026-W30 3 1 2 15 5 8 3 -0.25", "2026-W31 1 0 0 0 0 0 - -"]
    );
    // Wilson's interval of 5 of 15 and of 8 of 15, by the formula of Newcombe 1998 in another program.
    let ends = cells(&found, "share_low share_high");
    let ends: Vec<f64> = ends[0]
        .split(' ')
        .map(|end| end.parse().expect("a number"))
        .collect();
    assert!(
        (ends[0] - 0.1517632443971473).abs() < 1e-12
            && (ends[1] - 0.7519046463426261).abs() < 1e-12
    );
    assert_eq!(cells(&found, "share_low share_high")[1], "- -");
}

#[test]
fn a_pattern_of_more_counties_than_are_shown_is_refused() {
    for untrue in [
        "2026-W30 4 -0.25 0.5",
        "2026-W30 2 -0.25 0.5",
        "2026-W30 3 -0.25 -",
        "2026-W30 3 -0.25 1.5",
    ] {
        let failure = region_weeks(untrue).expect_err("a row that breaks a check");
        assert!(failure.to_string().contains("break its check"), "{failure}");
    }
}

#[test]
fn counties_are_counted_by_class_and_fields_by_stage() {
    let classes = "
        season:int=2026 iso_week:text=2026-W30 protocol:text=bsm-eggs median_class:text median_from:double median_below:double
        0.25-0.5 0.25 0.5
        nothing-found 0.0 -
        0.25-0.5 0.25 0.5
        - - -";
    let found = public("region_median", &[("county_week", table(classes))]);
    assert_eq!(
        cells(&found, "median_class median_from median_below counties"),
        ["0.25-0.5 0.25 0.5 2", "nothing-found 0.0 - 1"]
    );
    let stages = "
        season:int=2026 iso_week:text=2026-W30 protocol:text=bsm-eggs crop_stage:text in_window:boolean fields:bigint
        R3 true 4
        R2–R3 true 5
        R3 true 3
        R4 false 6";
    let found = public("region_stage", &[("public_stage", table(stages))]);
    assert_eq!(
        cells(&found, "crop_stage in_window fields"),
        ["R2–R3 true 5", "R3 true 7", "R4 false 6"]
    );
}

#[test]
fn a_cell_of_two_rows_is_one_point() {
    let points = "
        cell:text cell_lon:double cell_lat:double grid_km:double=10.0 season:int=2026 iso_week:text=2026-W30 protocol:text=bsm-eggs
        500.1200 -100.1 45.1
        500.1200 -100.1 45.1
        501.1200 -100.1 45.2";
    let found = public("sample_point", &[("public_cell", table(points))]);
    assert_eq!(
        cells(&found, "cell cell_lat"),
        ["500.1200 45.1", "501.1200 45.2"]
    );
}

// --- The runner ----------------------------------------------------------------------------------

const TRUTHFUL: &str = "\
-- Doubles.
--
-- grain:   one row an input row
-- key:     name
-- reads:   given
-- privacy: private
-- columns:
--   name   text    not null  a name
--   twice  double  null      [1] twice the value
-- checks:
--   twice is null or twice >= 0
select name as name, 2.0 * value as twice from given
";

fn try_text(text: &str, rows: &str) -> Result<RecordBatch, Failure> {
    let stage = Stage::read("77_doubled.sql", text)?;
    let given = [
        ("given", table(&format!("name:text value:double\n{rows}"))),
        ("other", table("name:text value:double\na 1")),
    ];
    try_stage(&stage, &given)
}

#[test]
fn a_truthful_stage_runs() {
    let made = try_text(TRUTHFUL, "b 1\na 2\nc -").expect("the header is true");
    assert_eq!(cells(&made, "name twice"), ["a 4.0", "b 2.0", "c -"]);
}

#[test]
fn a_stage_whose_header_lies_is_refused_with_its_file_and_the_lie() {
    let lies = [
        // What it reads: another table, one more, one that a subquery reads, one that it does not name.
        ("reads:   given", "reads:   other", "its query reads given"),
        (
            "reads:   given",
            "reads:   given, other",
            "its query reads given",
        ),
        (
            "from given",
            "from given where name in (select name from other)",
            "reads given, other",
        ),
        // Its columns: names, order, number.
        ("as twice", "as double", "its columns are name, double"),
        (
            "name as name, 2.0 * value as twice",
            "2.0 * value as twice, name as name",
            "its columns are twice, name",
        ),
        (
            "as twice from",
            "as twice, 1 as more from",
            "its columns are name, twice, more",
        ),
        // Their types: a text of digits is no number, and a number no text.
        (
            "2.0 * value as twice",
            "cast(value as varchar) as twice",
            "header promises Float64",
        ),
        (
            "2.0 * value as twice",
            "cast(value as bigint) as twice",
            "header promises Float64",
        ),
        (
            "name as name",
            "length(name) as name",
            "header promises Utf8",
        ),
        // Nulls.
        (
            "double  null",
            "double  not null",
            "twice is null in some rows",
        ),
        // Its key and its checks.
        ("name as name", "'one' as name", "stand more than once"),
        ("twice >= 0", "twice >= 3", "1 rows break its check"),
        ("twice is null or", "", "1 rows break its check"),
        // Its query.
        ("from given", "from nowhere", "nowhere"),
        ("select name", "select nobody", "nobody"),
    ];
    for (truth, lie, says) in lies {
        assert_eq!(TRUTHFUL.matches(truth).count(), 1, "{truth}");
        let failure = try_text(&TRUTHFUL.replace(truth, lie), "b 1\na 2\nc -")
            .expect_err("the header does not say the truth");
        assert_eq!(failure.kind(), Kind::Stage);
        let message = failure.to_string();
        assert!(message.contains("77_doubled.sql"), "{message}");
        assert!(message.contains(says), "{lie}: {message}");
    }
}
