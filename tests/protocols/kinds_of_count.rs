//! Visits of every kind of count, each under its own protocol and no other.

use serde_json::{Value, json};
use store::stages::files::stages;

use super::{plain_visit, plants, with_expression};
use crate::support::{TestWorkspace, full_visit, lines};

/// The county-weeks by protocol: fields visited, at threshold, mean pressure.
fn county_weeks(workspace: &TestWorkspace) -> Vec<(String, String, String, String)> {
    let table = workspace.rolled_up()["private/county_week_full.csv"].clone();
    let table = String::from_utf8(table).expect("text");
    let mut rows = table
        .lines()
        .map(|line| line.split(',').collect::<Vec<_>>());
    let header = rows.next().expect("a header");
    let place = |name: &str| {
        header
            .iter()
            .position(|column| *column == name)
            .expect("a column")
    };
    let wanted = [
        "protocol",
        "fields_visited",
        "fields_at_threshold",
        "mean_pressure",
    ]
    .map(place);
    rows.map(|row| {
        let [protocol, visited, at_threshold, pressure] = wanted.map(|at| row[at].to_owned());
        (protocol, visited, at_threshold, pressure)
    })
    .collect()
}

#[test]
fn visits_of_every_kind_come_out_under_their_own_protocol_and_no_other() {
    let workspace = TestWorkspace::of_region("us:46");
    let mut visits = Vec::new();
    for field in 1..=3 {
        // The same three fields under two protocols, edge and interior, in one week.
        let mut eggs = full_visit(&format!("eggs-{field}"));
        eggs["field"]["field_id"] = json!(format!("F-{field}"));
        eggs["field"]["crop_type"] = json!("confection");
        visits.push(eggs);
        // A mean of 2 a head, threshold 1.
        visits.push(plain_visit(
            field,
            "rssw",
            ("confection", "R5.1"),
            plants(5, &[0, 1, 2, 3, 4]),
        ));
        // 28 moths in 7 nights are 4 a night: at threshold.
        let traps = json!([{"site": 1, "traps": [{"catch": 28, "nights": 7}]}]);
        visits.push(plain_visit(
            field,
            "sunflower-moth-traps",
            ("oilseed", "R5.1"),
            traps,
        ));
        // 2 of 25 plants in field corn: 0.08, at the threshold of tasseling, and 0.4 of that at milk.
        let stage = if field == 3 { "R3" } else { "vt" };
        let mut share = plants(5, &[0, 0, 0, 0, 0]);
        share[0]["plants"] = json!([1, 1, 0, 0, 0]);
        visits.push(plain_visit(
            10 + field,
            "wbc-egg-masses",
            ("field-corn", stage),
            share,
        ));
        // 450 moths since the traps were put up: half of 900, whatever the nights.
        let traps = json!([{"site": 1, "traps": [{"catch": 450, "nights": 30 * field}]}]);
        visits.push(plain_visit(
            20 + field,
            "bertha-armyworm-traps",
            ("canola", "flowering"),
            traps,
        ));
    }
    let account = workspace.load_text("week.ndjson", &lines(&visits));
    assert_eq!(account["accepted"], visits.len(), "{account:#}");
    let found = county_weeks(&workspace);
    let row = |protocol: &str, at_threshold: &str, pressure: &str| {
        (
            protocol.to_owned(),
            "3".to_owned(),
            at_threshold.to_owned(),
            pressure.to_owned(),
        )
    };
    // Eggs: 3 a head, by 8 / (0.16 x 20000 x 0.00078) = 3.205: a pressure of 0.936.
    let eggs = found
        .iter()
        .find(|row| row.0 == "bsm-eggs")
        .expect("eggs")
        .3
        .clone();
    assert!(
        (eggs.parse::<f64>().expect("a number") - 0.936).abs() < 1e-9,
        "{eggs}"
    );
    let corn = found
        .iter()
        .find(|row| row.0 == "wbc-egg-masses")
        .expect("corn")
        .3
        .clone();
    assert!(
        (corn.parse::<f64>().expect("a number") - 0.8).abs() < 1e-9,
        "{corn}"
    );
    assert_eq!(
        found,
        [
            row("bertha-armyworm-traps", "0", "0.5"),
            row("bsm-eggs", "0", &eggs),
            row("rssw", "3", "2.0"),
            row("sunflower-moth-traps", "3", "1.0"),
            row("wbc-egg-masses", "2", &corn),
        ]
    );
}

#[test]
fn no_stage_over_several_visits_pools_protocols() {
    let mut over_several = 0;
    for stage in stages().expect("the stages") {
        let has_protocol = stage.columns.iter().any(|column| column.name == "protocol");
        // A visit's newest revision is no figure: there is nothing to be pooled.
        assert!(
            has_protocol || stage.table == "newest_revision",
            "{}: keep the protocol, edge and interior are not to be pooled",
            stage.file_name
        );
        if stage.key != ["visit_id"] {
            let in_key = stage.key.iter().any(|column| column == "protocol");
            assert!(in_key, "{}: its key lacks the protocol", stage.file_name);
            over_several += 1;
        }
    }
    assert!(over_several >= 3);
}

#[test]
fn a_visit_whose_protocol_asks_for_more_than_it_did_is_left_out_and_told() {
    let workspace = TestWorkspace::of_region("us:46");
    let own = workspace.path().join("protocols");
    std::fs::create_dir_all(&own).expect("a folder");
    std::fs::write(own.join("own.toml"), with_expression("2.0")).expect("a file");
    let mut records: Vec<Value> = (1..=4)
        .map(|field| plain_visit(field, "own", ("oilseed", "V9"), plants(5, &[1; 5])))
        .collect();
    // The last one gives its economics, though nobody asks for them.
    records[3]["economics"] = full_visit("x")["economics"].clone();
    let account = workspace.load_text("week.ndjson", &lines(&records));
    assert_eq!(account["accepted"], 4, "{account:#}");
    let out = workspace.beside("before").display().to_string();
    let run = workspace.run(&["rollup", "--out", &out]).expect_code(0);
    assert!(!run.stderr.contains("left out"), "{}", run.stderr);
    let text = with_expression("treatment_cost_per_ha / 10.0");
    std::fs::write(own.join("own.toml"), text).expect("a file");
    let out = workspace.beside("after").display().to_string();
    let run = workspace.run(&["rollup", "--out", &out]).expect_code(0);
    assert!(
        run.stderr.contains("3 visits are left out"),
        "{}",
        run.stderr
    );
}
