//! Thresholds written as expressions: what is a scalar of the canonical columns, and what they become in SQL.

use std::path::Path;

use scouting::protocol::catalogue::{Catalogue, Protocol};
use scouting::protocol::threshold::visit_threshold_sql;
use serde_json::json;

use super::{built_in, refusal, with_expression};
use crate::support::{TestWorkspace, full_visit};

#[test]
fn a_threshold_that_is_no_scalar_of_the_canonical_columns_is_refused() {
    for (expression, reason) in [
        (
            "farm_size * 2.0",
            "there is no column farm_size: the columns are treatment_cost_per_ha, market_value_per_kg",
        ),
        ("field_mean", "there is no column field_mean"),
        ("visits.revision * 1.0", "there is no column"),
        ("crop_type", "it gives text"),
        ("area_ha > 3.0", "it gives true or false"),
        ("null", "it gives nothing"),
        ("'4'", "it gives text"),
        ("now()", "does not give the same"),
        ("sum(area_ha)", "is an aggregate"),
        ("count(*) * 1.0", "is an aggregate"),
        ("row_number() over (order by area_ha)", "a window function"),
        ("sum(area_ha) over ()", "a window function"),
        ("(select 1.0)", "a subquery"),
        (
            "case when exists (select 1) then 1.0 else 2.0 end",
            "a subquery",
        ),
        (
            "case when area_ha in (select 1.0) then 1.0 else 2.0 end",
            "a subquery",
        ),
        ("(select max(revision) from visits)", "visits"),
        ("random() + 1.0", "random does not give the same"),
        ("density(area_ha)", "Invalid function"),
        ("$1", "is not allowed in it"),
        ("4.0 as threshold", "an alias"),
        ("4.0; drop table visits", "it is not one SQL expression"),
        (
            "4.0) as double) end as threshold from current_visit --",
            "it is not one SQL expression",
        ),
        ("4.0, 5.0", "it is not one SQL expression"),
        ("select 4.0", "it is not one SQL expression"),
        ("create table x (y int)", "it is not one SQL expression"),
        ("", "it is not one SQL expression"),
        ("4.0 *", "it is not one SQL expression"),
        ("12 / 5", "divides whole numbers"),
        ("1.0 - 1.0", "it gives 0 for oilseed"),
        ("treatment_cost_per_ha - 10.0", "it gives -8.76"),
        (
            "case crop_type when 'oilseed' then 1.0 end",
            "it gives nothing for confection",
        ),
        (
            "case crop_stage when 'V8' then 1.0 end",
            "it gives nothing for oilseed at V9",
        ),
        ("1.0 / 0.0", "it gives inf"),
        (
            "length(repeat('a', 2000000000)) * 1.0",
            "repeat gives text: only functions that give numbers",
        ),
        (
            "cardinality(range(1, 1000000000)) * 1.0",
            "range gives something else: only functions that give numbers",
        ),
        (
            "9.0 + - -1.0",
            "it is written out as 9.0 + --1.0, which is something else",
        ),
        (&"+1".repeat(501), "it has 1002 bytes, and at most 1000"),
        (
            "greatest(0.5, ln(plants_per_ha))",
            "where plants_per_ha is not known it gives a number all the same",
        ),
        (
            "coalesce(treatment_cost_per_ha, 20.0)",
            "where treatment_cost_per_ha is not known",
        ),
    ] {
        let message = refusal("own.toml", &with_expression(expression));
        assert!(message.contains(reason), "{expression}: {message}");
        assert!(message.contains("[threshold] expression: "), "{message}");
        let lines: Vec<&str> = message.lines().collect();
        assert_eq!(lines.len(), 3, "{message}");
    }
}

#[test]
fn a_scalar_of_the_canonical_columns_is_taken_whatever_it_is_written_with() {
    for expression in [
        "4",
        "ln(plants_per_ha)",
        "case when crop_type in ('oilseed', 'dehull') then 1.0 else area_ha + 1.0 end",
        "cast(2 as double) * power(area_ha, 0.5)",
        "case when crop_type like 'oil%' and not crop_stage = 'V9' then 3.0 else 2.0 end",
        "coalesce(nullif(area_ha, 7.0), 20.0) -- whatever",
        "case when treatment_cost_per_ha < 9.0 then 9.0 else treatment_cost_per_ha end",
        "greatest(0.5, area_ha)",
        "1.0 /* of\nplants */",
        "9.0 + -(-1.0)",
        "9.0 - -1.0",
    ] {
        let protocol = Protocol::read(
            &with_expression(expression),
            Path::new("own.toml"),
            store::stages::expression::plan,
        );
        protocol.unwrap_or_else(|failure| panic!("{expression}: {failure}"));
    }
}

#[test]
fn the_longest_expression_is_computed_for_every_visit() {
    let workspace = TestWorkspace::of_region("us:46");
    let own = workspace.path().join("protocols");
    std::fs::create_dir_all(&own).expect("a folder");
    let deep = format!("area_ha{}", "+1".repeat(496));
    let text = built_in("bsm-eggs");
    let written = text
        .lines()
        .find(|line| line.starts_with("expression = "))
        .expect("an expression");
    let text = text.replacen(written, &format!("expression = \"{deep}\""), 1);
    std::fs::write(own.join("bsm-eggs.toml"), text).expect("a file");
    workspace.load_text("visits", &full_visit("v1").to_string());
    let query = "select threshold - area_ha as added from field_week";
    let run = workspace
        .run(&["sql", query, "--format", "json"])
        .expect_code(0);
    assert_eq!(run.json(), json!([{"added": 496.0}]));
}

#[test]
fn the_generated_sql_holds_no_comment_and_the_expressions_alone() {
    let workspace = TestWorkspace::of_region("us:46");
    let own = workspace.path().join("protocols");
    std::fs::create_dir_all(&own).expect("a folder");
    let text = with_expression("1.0 / 3.0 -- a third");
    std::fs::write(own.join("own.toml"), text).expect("a file");
    let catalogue =
        Catalogue::read(Some(&own), store::stages::expression::plan).expect("the catalog");
    let sql = visit_threshold_sql(catalogue.protocols());
    assert!(
        sql.contains("when 'own' then cast(1.0 / 3.0 as double)\n"),
        "{sql}"
    );
    assert!(!sql.contains("--"), "{sql}");
    let eggs = "cast(treatment_cost_per_ha / (market_value_per_kg * plants_per_ha * 0.00078 * 0.45359237) as double)";
    assert!(sql.contains(eggs), "{sql}");
    let printed = workspace.run(&["protocols", "sql"]).expect_code(0).stdout;
    assert_eq!(printed.trim_end(), sql);
    let json = workspace
        .run(&["protocols", "sql", "--format", "json"])
        .expect_code(0)
        .json();
    assert_eq!(json["sql"], sql);
}
