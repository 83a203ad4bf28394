//! The query command: it reads the tables as they count, and it can do nothing else.

use serde_json::json;

use crate::support::{Run, TestWorkspace, contents, full_visit, lines, visit};

fn workspace() -> TestWorkspace {
    let workspace = TestWorkspace::of_region("us:46");
    let visits: Vec<_> = (0..4)
        .map(|number| {
            let mut visit = full_visit(&format!("v-{number}"));
            visit["field"]["field_id"] = json!(format!("F-{number}"));
            visit["field"]["farm_id"] = json!(format!("farm-{number}"));
            visit
        })
        .collect();
    workspace.load_text("visits", &(lines(&visits) + "{\n"));
    workspace
}

fn asked(workspace: &TestWorkspace, query: &str, options: &[&str]) -> Run {
    workspace.run(&[&["sql", query], options].concat())
}

#[test]
fn tables_are_read_as_they_count_in_three_forms() {
    let workspace = workspace();
    let query = "select visit_id, revision, remarks from visits order by visit_id limit 2";
    let run = asked(&workspace, query, &["--format", "json"]).expect_code(0);
    assert_eq!(
        run.json(),
        json!([{"visit_id": "v-0", "revision": 1, "remarks": null},
            {"visit_id": "v-1", "revision": 1, "remarks": null}])
    );
    assert!(run.stderr.contains("private tables"), "{run:?}");
    let run = asked(&workspace, query, &["--format", "csv"]).expect_code(0);
    assert_eq!(run.stdout, "visit_id,revision,remarks\nv-0,1,\nv-1,1,\n");
    let run = asked(&workspace, query, &[]).expect_code(0);
    assert!(run.stdout.contains("| v-1 "), "{run:?}");
    // What is public is in its tables once it was published; the office's own table has it before.
    let query = "select county_id, fields_visited, at_threshold_max from county_week";
    let before = asked(&workspace, query, &["--format", "json"]).expect_code(0);
    assert_eq!(before.json(), json!([]));
    let out = workspace.beside("package").display().to_string();
    workspace.run(&["export", "--out", &out]).expect_code(0);
    let run = asked(&workspace, query, &["--format", "json"]).expect_code(0);
    assert_eq!(run.json()[0]["fields_visited"], 4);
    assert_eq!(run.stderr, "", "what is public needs no note");
    let query = "select count(*) as n from county_week, elsewhere_week, region_week, region_median, region_stage, sample_point";
    let run = asked(&workspace, query, &["--format", "json"]).expect_code(0);
    assert_eq!((run.json(), &*run.stderr), (json!([{"n": 0}]), ""));
    let query = "select c.fields_visited from county_week c inner join county_week_full f on c.county_id = f.county_id";
    let run = asked(&workspace, query, &["--format", "json"]).expect_code(0);
    assert!(run.stderr.contains("private tables"), "{run:?}");
    for (query, count) in [
        ("select count(*) as n from units", 80),
        (
            "with x as (select * from held) select count(*) as n from x",
            1,
        ),
        ("select count(*) as n from receipts", 1),
        ("select count(*) as n from field_week", 4),
        ("select sum(fields_visited) as n from county_week_full", 4),
        (
            "select count(*) as n from visits where visit_id = 'none'",
            0,
        ),
    ] {
        let run = asked(&workspace, query, &["--format", "json"]).expect_code(0);
        assert_eq!(run.json(), json!([{ "n": count }]), "{query}");
    }
    let none = asked(
        &workspace,
        "select visit_id from visits where false",
        &["--format", "csv"],
    );
    assert_eq!(none.expect_code(0).stdout, "visit_id\n");
}

#[test]
fn rows_of_a_load_without_receipt_are_not_seen() {
    let workspace = workspace();
    let receipts = workspace.path().join("store/receipts/_delta_log");
    // As if the receipt had never been committed.
    std::fs::remove_file(receipts.join("00000000000000000001.json")).unwrap();
    for table in ["visits", "units", "held"] {
        let query = format!("select count(*) as n from {table}");
        let run = asked(&workspace, &query, &["--format", "json"]).expect_code(0);
        assert_eq!(run.json(), json!([{ "n": 0 }]), "{table}");
    }
}

#[test]
fn everything_but_one_query_over_the_tables_is_refused_and_nothing_changes() {
    let workspace = workspace();
    let secret = workspace.write("secret.csv", "a,b\nhush,1\n");
    let secret = secret.display();
    let parquet = contents(&workspace.path().join("store/visits"))
        .into_keys()
        .find(|path| path.extension().is_some_and(|ending| ending == "parquet"))
        .unwrap();
    let parquet = parquet.display();
    let out = workspace.beside("out");
    let out = out.display();
    let before = contents(&workspace.path());
    let queries = [
        "select * from '/etc/passwd'".to_owned(),
        "select * from \"/etc/passwd\"".to_owned(),
        format!("select * from '{secret}'"),
        format!("select * from '{parquet}'"),
        format!("select * from 'file://{secret}'"),
        "select * from 'https://example.org/a.csv'".to_owned(),
        "select * from 's3://bucket/a.parquet'".to_owned(),
        format!("select * from read_csv('{secret}')"),
        format!("select * from read_parquet('{parquet}')"),
        format!("select * from parquet_metadata('{parquet}')"),
        "select * from generate_series(1, 10)".to_owned(),
        "select * from information_schema.tables".to_owned(),
        "select * from information_schema.df_settings".to_owned(),
        "select * from datafusion.public.visits".to_owned(),
        format!("create external table x stored as csv location '{secret}'"),
        "create table x as select * from visits".to_owned(),
        "create view x as select * from visits".to_owned(),
        "create schema x".to_owned(),
        "create function f() returns int return 1".to_owned(),
        "drop table visits".to_owned(),
        "drop view visits".to_owned(),
        "insert into visits select * from visits".to_owned(),
        "delete from visits".to_owned(),
        "update visits set revision = 2".to_owned(),
        "truncate table visits".to_owned(),
        "with x as (select 1) insert into visits select * from visits".to_owned(),
        "select * into x from visits".to_owned(),
        format!("copy visits to '{out}.csv'"),
        format!("copy (select * from visits) to '{out}' stored as parquet"),
        "set datafusion.catalog.information_schema = true".to_owned(),
        "reset datafusion.execution.batch_size".to_owned(),
        "show tables".to_owned(),
        "show all".to_owned(),
        "describe visits".to_owned(),
        "explain select * from visits".to_owned(),
        "explain analyze insert into visits select * from visits".to_owned(),
        format!("explain analyze copy visits to '{out}.csv'"),
        "prepare p as select 1".to_owned(),
        "execute p".to_owned(),
        "begin".to_owned(),
        "select 1; select 2".to_owned(),
        "select 1; drop table visits".to_owned(),
        String::new(),
        ";".to_owned(),
        "not sql".to_owned(),
        "select * from nowhere".to_owned(),
        "select * from public_row".to_owned(),
        "select * from standing_visit".to_owned(),
        "select nothing from visits".to_owned(),
        format!("select {}1", "1 + ".repeat(30_000)),
        format!("select {}1{}", "(".repeat(5_000), ")".repeat(5_000)),
    ];
    for query in &queries {
        let run = asked(&workspace, query, &["--format", "csv"]);
        let shown: String = query.chars().take(100).collect();
        assert_eq!(run.code, Some(1), "{shown}: {run:?}");
        assert_eq!(run.stdout, "", "{shown}");
        assert!(run.stderr.contains("error: "), "{shown}: {run:?}");
        assert!(!run.stderr.contains("hush"), "{shown}: {run:?}");
    }
    assert!(
        contents(&workspace.path()) == before,
        "a query changed the workspace"
    );
    let beside = std::fs::read_dir(workspace.path().parent().unwrap()).unwrap();
    assert_eq!(
        beside.count(),
        3,
        "the workspace and the two files of this test"
    );
}

#[test]
fn a_query_that_wants_too_much_is_ended_cleanly() {
    let workspace = workspace();
    let cross = |tables: usize| {
        let tables: Vec<String> = (0..tables)
            .map(|number| format!("units u{number}"))
            .collect();
        tables.join(", ")
    };
    let doubled = (0..32).fold("'xxxxxxxx'".to_owned(), |inner, _| {
        format!("(select a || a from (select {inner} as a))")
    });
    for (name, query) in [
        ("a cross join", format!("select count(*) as n from {}", cross(8))),
        ("its rows", format!("select * from {}", cross(4))),
        (
            "a recursion without end",
            "with recursive x as (select 1 as n union all select n + 1 from x) select sum(n) from x".to_owned(),
        ),
        (
            "a recursion that grows",
            "with recursive x as (select 1 as n union all select n + 1 from x, units) select count(*) from x".to_owned(),
        ),
        (
            "a sort of much",
            format!("select u0.visit_id from {} order by u0.unit, u1.unit, u2.unit", cross(4)),
        ),
        (
            "groups without number",
            format!("select count(*) from (select distinct u0.total + random() as x from {})", cross(5)),
        ),
        ("a long list", "select cardinality(range(1, 100000000000))".to_owned()),
        ("a long text", "select length(repeat('x', 2000000000))".to_owned()),
        ("a text that doubles", format!("select length({doubled})")),
    ] {
        let begun = std::time::Instant::now();
        let run = asked(&workspace, &query, &["--seconds", "3", "--memory-mb", "64"]);
        assert_eq!(run.code, Some(1), "{name}: {run:?}");
        assert_eq!(run.stdout, "", "{name}");
        assert!(run.stderr.contains("error: "), "{name}: {run:?}");
        assert!(begun.elapsed().as_secs() < 30, "{name}: {:?}", begun.elapsed());
    }
    // Another query is answered as before.
    asked(&workspace, "select count(*) from visits", &[]).expect_code(0);
    let nothing = visit("v-0");
    workspace.load_text("after", &lines(&[nothing]));
}

#[test]
fn a_deep_expression_is_computed_and_a_longer_query_is_refused() {
    let workspace = workspace();
    // Deep enough to overflow the usual stack of a thread that computes, 2 MiB.
    let deep = |terms: usize| {
        format!(
            "select max(revision{}) as n from visits",
            "+1".repeat(terms)
        )
    };
    let run = asked(&workspace, &deep(800), &["--format", "json"]).expect_code(0);
    assert_eq!(run.json(), json!([{"n": 801}]));
    let run = asked(&workspace, &deep(8_200), &[]).expect_code(1);
    assert!(
        run.stderr.contains("it is longer than 16384 bytes"),
        "{run:?}"
    );
}
