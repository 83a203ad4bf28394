//! Stages 20 to 40: pressure, the visit chosen for a field and week, and the field-week.

use super::cells;
use crate::support::stages::{run, table};

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
                 lon:double=-100 lat:double=44 area_ha:double=50 sites:int=4 units:int=20 variance_between_sites:double=- variance_within_sites:double=- standard_error:double=- economics_assumed:boolean=false treated_on:date=- treatment:text=-
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
            table("protocol:text stage_first:int stage_last:int after_treatment_days:int=14\neggs 1020 1030\nadults 1051 1051"),
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

/// Both ends of the days are included, and a treatment without a date may have been on any of them.
#[test]
fn a_count_follows_a_treatment_for_the_days_of_its_protocol() {
    let given = [
        (
            "visit_threshold",
            table(
                "visit_id:text protocol:text treated_on:date treatment:text observed_on:date=2026-07-21 \
                 crop_stage:text=R3 stage_first:int=1030 stage_last:int=1030 field_mean:double=1 threshold:double=2 \
                 field_id:text=F1 farm_id:text=- county_id:text=A season:int=2026 iso_week:text=2026-W30 \
                 lon:double=-100 lat:double=44 area_ha:double=50 sites:int=4 units:int=20 variance_between_sites:double=- \
                 variance_within_sites:double=- standard_error:double=- economics_assumed:boolean=false
                 a eggs   -          -
                 b eggs   -          none
                 c eggs   -          other
                 d eggs   2026-07-21 insecticide
                 e eggs   2026-07-07 -
                 f eggs   2026-07-06 insecticide
                 g adults 2026-07-18 other
                 h adults 2026-07-17 other",
            ),
        ),
        (
            "protocol_window",
            table(
                "protocol:text after_treatment_days:int stage_first:int=1020 stage_last:int=1030
                 eggs   14
                 adults 3",
            ),
        ),
    ];
    let found = cells(
        &run("visit_pressure", &given),
        "visit_id in_window after_treatment",
    );
    let expected = [
        "a true false",
        "b true false",
        "c true true",
        "d true true",
        "e true true",
        "f true false",
        "g true true",
        "h true false",
    ];
    assert_eq!(found, expected);
}

#[test]
fn an_untreated_visit_comes_before_a_treated_one_in_the_window() {
    let pressures = table(
        "field_id:text visit_id:text observed_on:date in_window:boolean after_treatment:boolean pressure:double \
         iso_week:text=2026-W30 protocol:text=eggs season:int=2026 county_id:text=A farm_id:text=- crop_stage:text=R3 \
         lon:double=-100 lat:double=44 area_ha:double=50 sites:int=4 units:int=20 variance_between_sites:double=- variance_within_sites:double=- field_mean:double=1 standard_error:double=- threshold:double=2 \
         economics_assumed:boolean=false
         F1 a 2026-07-20 true  false 0.9
         F1 b 2026-07-22 true  true  0.1
         F2 c 2026-07-20 true  true  0.2
         F2 d 2026-07-24 false false 0.3
         F2 e 2026-07-22 true  true  0.4
         F3 f 2026-07-20 false true  0.5
         F3 g 2026-07-22 false false 0.6",
    );
    let found = run("standing_visit", &[("visit_pressure", pressures)]);
    let expected = [
        "F1 a 0.9 true false",
        "F2 e 0.4 true true",
        "F3 g 0.6 false false",
    ];
    assert_eq!(
        cells(
            &found,
            "field_id visit_id pressure in_window after_treatment"
        ),
        expected
    );
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
                     standard_error:double=- economics_assumed:boolean=false treated_on:date=- treatment:text=-
                     alone 1050 1059
                     tenth 1051 1051",
                ),
            ),
            (
                "protocol_window",
                table(&format!(
                    "protocol:text stage_first:int stage_last:int after_treatment_days:int=14\nadults {first} {last}"
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

#[test]
fn the_last_visit_in_the_window_stands_and_others_only_where_there_is_none() {
    let pressures = table(
        "field_id:text visit_id:text iso_week:text observed_on:date in_window:boolean pressure:double \
         protocol:text=eggs season:int=2026 county_id:text=A farm_id:text=- crop_stage:text=R3 \
         lon:double=-100 lat:double=44 area_ha:double=50 sites:int=4 units:int=20 variance_between_sites:double=- variance_within_sites:double=- field_mean:double=1 standard_error:double=- threshold:double=2 \
         economics_assumed:boolean=false after_treatment:boolean=false
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
         field_mean:double=1 standard_error:double=- threshold:double=2 economics_assumed:boolean=false after_treatment:boolean=false
         a eggs
         b adults",
    );
    let found = run("standing_visit", &[("visit_pressure", pressures)]);
    assert_eq!(cells(&found, "protocol visit_id"), ["adults b", "eggs a"]);
}

#[test]
fn a_field_week_has_what_was_computed_of_its_visit_and_nulls_where_nothing_was() {
    let standing = table(
        "visit_id:text field_id:text field_mean:double standard_error:double sites:int mean_low:double \
         mean_high:double mean_range:text confidence_at_threshold:double \
         probability_at_threshold:double undetermined:boolean further_sites:int season_k:double=3.2 \
         season_k_information:double=90 hatch_from:date hatch_to:date \
         window_opens:date window_closes:date window_basis:text units:int=20 \
         variance_between_sites:double=- variance_within_sites:double=- \
         iso_week:text=2026-W30 observed_on:date=2026-07-21 in_window:boolean=true pressure:double=0.5 \
         protocol:text=eggs season:int=2026 county_id:text=A farm_id:text=- crop_stage:text=R3 \
         lon:double=-100 lat:double=44 area_ha:double=50 threshold:double=2 economics_assumed:boolean=false after_treatment:boolean=false
         a F1 1.0 0.25 4 0.2 1.8 between   0.01 0.02 false 3 2026-07-21 2026-07-29 2026-07-25 2026-08-06 days
         b F2 1.0 -    1 -   -   not-given -    -    -     - -          -          -          -          -",
    );
    let found = run("field_week", &[("standing_figure", standing)]);
    let columns = "field_id mean_low mean_high mean_range confidence_at_threshold probability_at_threshold undetermined \
        further_sites season_k hatch_from window_opens window_closes window_basis";
    assert_eq!(
        cells(&found, columns),
        [
            "F1 0.2 1.8 between 0.01 0.02 false 3 3.2 2026-07-21 2026-07-25 2026-08-06 days",
            "F2 - - not-given - - - - 3.2 - - - -",
        ]
    );
}
