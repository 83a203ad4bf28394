//! Stages 10 and 15: the newest revision of each visit, and the visits that count.

use arrow::array::RecordBatch;

use super::cells;
use crate::support::stages::{run, table};

const VISITS: &str = "load_id:text visit_id:text revision:int retracted:boolean field_mean:double \
    field_id:text=F1 farm_id:text=- county_id:text=A season:int=2026 iso_week:text=2026-W30 \
    observed_on:date=2026-07-21 protocol:text=bsm-eggs crop_type:text=oilseed crop_stage:text=R3 \
    stage_first:int=1030 stage_last:int=1030 lon:double=-100.1 lat:double=44.1 point_from:text=- area_ha:double=50 treatment_cost_per_ha:double=20 \
    market_value_per_kg:double=0.4 plants_per_ha:double=50000 sites:int=4 units:int=20 variance_between_sites:double=- variance_within_sites:double=- standard_error:double=0.5 \
    assumed:text=- treated_on:date=- treatment:text=-";

fn current_visits(rows: &str, receipts: &str) -> Vec<String> {
    let found = current_visit(&format!("{VISITS}\n{rows}"), receipts);
    cells(&found, "visit_id field_mean")
}

fn current_visit(visits: &str, receipts: &str) -> RecordBatch {
    current_visit_in(visits, receipts, "")
}

/// The same where some days are in a week of another name than their ISO week.
fn current_visit_in(visits: &str, receipts: &str, days: &str) -> RecordBatch {
    let named_day = table(&format!("observed_on:date iso_week:text\n{days}"));
    let stored = [
        ("visits", table(visits)),
        ("receipts", table(&format!("load_id:text\n{receipts}"))),
    ];
    let newest = run("newest_revision", &stored);
    let [visits, receipts] = stored;
    run(
        "current_visit",
        &[
            visits,
            receipts,
            ("newest_revision", newest),
            ("named_day", named_day),
        ],
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

/// Weeks from Thursday to Wednesday: July 22 is the last day of the week that begins on July 16, whose middle day is in
/// 2026-W29; January 6 is in the last week of the year before.
#[test]
fn a_visit_is_in_the_week_that_its_day_is_named_in() {
    let visits = VISITS.replace("observed_on:date=2026-07-21", "observed_on:date");
    let visits = visits.replace("iso_week:text=2026-W30", "iso_week:text");
    let rows = "
        l1 last  1 false 1.0 2026-W30 2026-07-22
        l1 first 1 false 1.0 2026-W30 2026-07-23
        l1 year  1 false 1.0 2027-W01 2027-01-06";
    let days = "2026-07-22 2026-W29\n2027-01-06 2026-W53";
    let found = current_visit_in(&format!("{visits}\n{rows}"), "l1", days);
    assert_eq!(
        cells(&found, "visit_id iso_week season"),
        [
            "last 2026-W29 2026",
            "first 2026-W30 2026",
            "year 2026-W53 2026"
        ]
    );
}
