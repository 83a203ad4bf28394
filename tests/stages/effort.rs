//! Stage 60: the effort of a county-week and the standard error of its mean.

use super::cells;
use crate::support::stages::{FIELD_WEEK, run, table};

fn effort(fields: &str, visits: &str) -> Vec<String> {
    effort_of(FIELD_WEEK, fields, visits)
}

fn effort_of(columns: &str, fields: &str, visits: &str) -> Vec<String> {
    let given = [
        (
            "field_week",
            table(&format!("{columns} sites:int units:int\n{fields}")),
        ),
        (
            "visit_pressure",
            table(&format!(
                "county_id:text iso_week:text=2026-W30 protocol:text=eggs visit_id:text\n{visits}"
            )),
        ),
    ];
    let found = run("county_week_effort", &given);
    let columns =
        "county_id fields visits fields_visited sites units mean_pressure mean_pressure_se";
    cells(&found, columns)
}

#[test]
fn effort_counts_what_was_done_and_the_error_is_between_fields() {
    let found = effort(
        "F1 A - true  10 0.5 4 20
         F2 A - true  20 1.5 8 40
         F3 A - false 30 9.0 4 20
         F4 B - true  40 0.7 4 20
         F5 C - false 40 0.7 4 20",
        "A v1\nA v2\nA v3\nA v4\nB v5\nC v6",
    );
    // Of A the pressures 0.5 and 1.5: standard deviation 0.7071068, divided by the root of 2.
    assert_eq!(
        found,
        [
            "A 3 4 2 12 60 1.0 0.5",
            "B 1 1 1 4 20 0.7 -",
            "C 1 1 0 0 0 - -",
        ]
    );
}

#[test]
fn treated_fields_are_effort_and_in_no_mean() {
    let columns = FIELD_WEEK.replace("after_treatment:boolean=false", "after_treatment:boolean");
    let found = effort_of(
        &columns,
        "F1 A - true 10 0.5 false 4 20
         F2 A - true 20 1.5 false 8 40
         F3 A - true 30 0.1 true  4 20",
        "A v1\nA v2\nA v3",
    );
    assert_eq!(found, ["A 3 3 2 12 60 1.0 0.5"]);
}
