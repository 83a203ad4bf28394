//! Queries that take memory at once or break the engine.

use std::process::Command;

use serde_json::json;

use crate::support::{Run, TestWorkspace, full_visit, lines};

/// The program with an address space that ends it where memory is asked for without bound, as a small machine does.
fn asked(workspace: &TestWorkspace, query: &str) -> Run {
    let limited = "ulimit -v 8388608; exec \"$@\"";
    let mut command = Command::new("sh");
    command
        .args([
            "-c",
            limited,
            "sh",
            env!("CARGO_BIN_EXE_bractline"),
            "--workspace",
        ])
        .arg(workspace.path())
        .args(["sql", query, "--seconds", "20", "--memory-mb", "256"]);
    Run::of(&mut command)
}

#[test]
fn functions_that_take_all_memory_at_once_are_left_out_with_a_reason() {
    let workspace = TestWorkspace::of_region("us:46");
    for (query, said) in [
        (
            "select array_resize(make_array(1), 2000000000)",
            "array_resize is left out",
        ),
        (
            "select list_resize(make_array(1), 3)",
            "array_resize is left out",
        ),
        (
            "select array_repeat(1, 2000000000)",
            "array_repeat is left out",
        ),
        (
            "select cardinality(range(1, 100000000000))",
            "range is left out",
        ),
        (
            "select generate_series(1, 2000000000)",
            "generate_series is left out",
        ),
        (
            "select length(repeat('x', 2000000000))",
            "repeat is left out",
        ),
        (
            "select arrow_cast(make_array(1), 'FixedSizeList(2000000000, Int64)')",
            "arrow_cast is left out",
        ),
        (
            "select arrow_try_cast(make_array(1), 'FixedSizeList(2000000000, Int64)')",
            "arrow_try_cast is left out",
        ),
        (
            "select cast(make_array(1) as bigint[2000000000])",
            "a type of 2000000000 items",
        ),
        (
            "select try_cast(null as bigint[2000000000])",
            "a type of 2000000000 items",
        ),
        ("select lpad('x', 2000000000)", "argument 2 of lpad"),
        (
            "select rpad('x', revision) from visits",
            "argument 2 of rpad",
        ),
        (
            "select approx_percentile_cont(revision, 0.5, 2000000000) from visits",
            "argument 3 of approx_percentile_cont",
        ),
        // Wherever it is.
        (
            "select 1 where (select count(*) from (select range(1, 9))) > 0",
            "range is left out",
        ),
        (
            "select 1 from visits order by repeat('x', 9)",
            "repeat is left out",
        ),
        (
            "select 1 from visits limit cardinality(range(1, 9))",
            "range is left out",
        ),
        (
            "select 1 from visits v join held h on repeat('x', 9) = v.visit_id",
            "repeat is left out",
        ),
        (
            "select string_agg(visit_id, repeat('y', 1000000)) from visits",
            "repeat is left out",
        ),
        ("values (array_repeat(1, 9))", "array_repeat is left out"),
    ] {
        let run = asked(&workspace, query);
        assert_eq!(run.code, Some(1), "{query}: {run:?}");
        assert!(run.stderr.contains(said), "{query}: {run:?}");
        assert!(!run.stderr.contains("panicked"), "{query}: {run:?}");
    }
    for (query, answer) in [
        ("select lpad('7', 3, '0') as n", json!([{"n": "007"}])),
        ("select rpad('7', 3, '0') as n", json!([{"n": "700"}])),
        (
            "select cast(make_array(1, 2) as bigint[2]) as n",
            json!([{"n": [1, 2]}]),
        ),
        (
            "select array_length(array_append(make_array(1), 2)) as n",
            json!([{"n": 2}]),
        ),
    ] {
        let run = workspace
            .run(&["sql", query, "--format", "json"])
            .expect_code(0);
        assert_eq!(run.json(), answer, "{query}");
    }
}

#[test]
fn a_query_that_breaks_the_engine_shows_no_panic() {
    let workspace = TestWorkspace::of_region("us:46");
    let records: Vec<_> = (0..9)
        .map(|number| full_visit(&format!("v-{number}")))
        .collect();
    workspace.load_text("visits", &lines(&records));
    // A text of a megabyte by doubling, then one of gigabytes of it.
    let megabyte = (0..17).fold("'xxxxxxxx'".to_owned(), |inner, _| {
        format!("(select a || a as a from (select {inner} as a))")
    });
    let many = "units u0, units u1, units u2";
    for query in [
        format!("select length(string_agg(u0.visit_id, {megabyte})) from {many}"),
        format!("select length(string_agg({megabyte}, ',')) from {many}"),
        format!("select max(length(replace({megabyte}, 'x', {megabyte})))"),
        format!("select length(array_to_string(array_agg({megabyte}), ',')) from {many}"),
        format!("select length(concat({megabyte}, u0.visit_id)) from {many} order by 1"),
    ] {
        let run = asked(&workspace, &query);
        let shown: String = query.chars().take(60).collect();
        assert_eq!(run.code, Some(1), "{shown}: {run:?}");
        assert!(run.stderr.starts_with("error: "), "{shown}: {run:?}");
        assert!(!run.stderr.contains("panicked"), "{shown}: {run:?}");
    }
}
