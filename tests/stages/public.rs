//! The public stages.

use arrow::array::RecordBatch;
use scouting::failure::Failure;
use store::stages::files::public_stages;

use super::cells;
use crate::support::stages::{table, try_stage};

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
    place:text county_id:text district:text season:int=2026 iso_week:text=2026-W30 week_start:date=2026-07-20 week_end:date=2026-07-26 protocol:text=bsm-eggs edition:int visits_until:date=2026-07-26 level:text=survey fields_visited:bigint at_threshold_min:bigint at_threshold_max:bigint share_low:double share_high:double over_third_low:double over_third_high:double median_class:text median_from:double median_below:double mean_pressure:double=- fields_with_assumed_economics:bigint=0 fields_outside_stage:bigint treatment_first_week:text=- treatment_last_week:text=- window_basis:text=-
    A A - 2 6 4 4 0.3 0.9 0.954 0.954 1-1.5 1.0 1.5 0
    B B - 1 4 1 4 0.05 1.0 0.36 0.998 - - - -
    elsewhere_in_north - north 1 5 0 0 0.0 0.43 0.039 0.039 nothing-found 0.0 - 3
    elsewhere_in_the_region - - 1 0 0 0 - - - - - - - 4";

#[test]
fn public_rows_fall_into_those_of_counties_and_those_elsewhere() {
    let given = [
        ("public_row", table(PUBLIC_ROWS)),
        (
            "county",
            table("county_id:text county_name:text district:text\nA Alder north"),
        ),
        (
            "county_share_smoothed",
            table(
                "county_id:text iso_week:text protocol:text share_smoothed:double share_own_weight:double\nA 2026-W30 bsm-eggs 0.6 0.7",
            ),
        ),
    ];
    let found = public("county_week", &given);
    let columns = "county_id county_name district week_end edition fields_visited at_threshold_min at_threshold_max over_third_low share_smoothed share_own_weight median_class";
    assert_eq!(
        cells(&found, columns),
        [
            "A Alder north 2026-07-26 2 6 4 4 0.954 0.6 0.7 1-1.5",
            "B B - 2026-07-26 1 4 1 4 0.36 - - -"
        ]
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
    let columns = "season:int=2026 iso_week:text week_start:date=2026-07-20 week_end:date=2026-07-26 protocol:text=bsm-eggs fields_visited:bigint at_threshold_min:bigint at_threshold_max:bigint";
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
fn the_week_of_a_district_is_the_sum_of_its_counties_and_of_what_is_elsewhere_in_it() {
    let columns = "district:text season:int=2026 iso_week:text=2026-W30 week_start:date=2026-07-20 week_end:date=2026-07-26 \
                   protocol:text=bsm-eggs fields_visited:bigint at_threshold_min:bigint at_threshold_max:bigint";
    let given = [
        (
            "county_week",
            table(&format!(
                "{columns}\nnorth 6 4 4\nnorth 4 1 4\nsouth 0 0 0\n- 9 9 9"
            )),
        ),
        (
            "elsewhere_week",
            table(&format!("{columns}\nnorth 5 0 0\n- 7 7 7")),
        ),
    ];
    let found = public("district_week", &given);
    let columns = "district week_start counties_shown elsewhere_rows places_at_threshold fields_visited at_threshold_min at_threshold_max";
    assert_eq!(
        cells(&found, columns),
        [
            "north 2026-07-20 2 1 2 15 5 8",
            "south 2026-07-20 1 0 0 0 0 0"
        ]
    );
    // Those of the week of the region with the same sums, above.
    let ends = cells(&found, "share_low share_high");
    assert!(
        ends[0].starts_with("0.15176324439714") && ends[1] == "- -",
        "{ends:?}"
    );
}

#[test]
fn counties_are_counted_by_class_and_fields_by_stage() {
    let classes = "
        season:int=2026 iso_week:text=2026-W30 week_start:date=2026-07-20 week_end:date=2026-07-26 protocol:text=bsm-eggs median_class:text median_from:double median_below:double
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
        season:int=2026 iso_week:text=2026-W30 week_start:date=2026-07-20 week_end:date=2026-07-26 protocol:text=bsm-eggs crop_stage:text in_window:boolean fields:bigint
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
        cell:text cell_lon:double cell_lat:double grid_km:double=10.0 season:int=2026 iso_week:text=2026-W30 week_start:date=2026-07-20 week_end:date=2026-07-26 protocol:text=bsm-eggs
        500.1200 -100.1 45.1
        500.1200 -100.1 45.1
        501.1200 -100.1 45.2";
    let found = public("sample_point", &[("public_cell", table(points))]);
    assert_eq!(
        cells(&found, "cell cell_lat"),
        ["500.1200 45.1", "501.1200 45.2"]
    );
}
