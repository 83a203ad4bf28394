//! What a roll-up says of fields that can and cannot be called at their threshold, and the setting that decides it.

use serde_json::{Value, json};

use crate::support::{TestWorkspace, full_visit, lines};

/// A visit with so many eggs on each head of its sites; the threshold of all is 3.205.
fn visit_of(name: &str, eggs: &[u32]) -> Value {
    let mut visit = full_visit(&format!("visit-{name}"));
    visit["field"]["field_id"] = format!("F-{name}").into();
    let sites = (1..)
        .zip(eggs)
        .map(|(site, eggs)| json!({"site": site, "heads": vec![[*eggs, 0, 0, 0, 0, 0]; 5]}));
    visit["sites"] = sites.collect();
    visit
}

/// Twelve fields from far below to far above their threshold, one of them with a single site, one without an egg.
fn season() -> Vec<Value> {
    let mut visits = vec![
        visit_of("one-site", &[2]),
        visit_of("no-egg", &[0, 0, 0, 0]),
    ];
    visits.extend((0..10).map(|number| {
        let eggs = [0, 2, 1, 3].map(|more: u32| number * more.div_ceil(2) + more % 2);
        visit_of(&number.to_string(), &eggs)
    }));
    visits
}

/// What a roll-up of the visits says of fields.
fn calls(workspace: &TestWorkspace) -> Value {
    let out = workspace.beside("figures").display().to_string();
    let said = workspace.run(&["rollup", "--out", &out, "--format", "json"]);
    said.expect_code(0).json()["fields"].clone()
}

fn loaded(visits: &[Value]) -> TestWorkspace {
    let workspace = TestWorkspace::of_region("us:46");
    let account = workspace.load_text("visits.ndjson", &lines(visits));
    assert_eq!(account["accepted"], visits.len(), "{account:#}");
    workspace
}

#[test]
fn a_season_of_three_fields_is_not_judged() {
    let workspace = loaded(&season()[..3]);
    let expected = json!({
        "within_window": 3, "undetermined": 0, "settled_by_further_sites": 0, "without_range": 3,
    });
    assert_eq!(calls(&workspace), expected);
    let out = workspace.beside("figures").display().to_string();
    let said = workspace.run(&["rollup", "--out", &out]).expect_code(0);
    let said = said.stdout;
    assert!(
        said.contains("3 not judged, since the season has too few fields"),
        "{said}"
    );
}

#[test]
fn more_certainty_leaves_more_fields_undetermined() {
    let workspace = loaded(&season());
    let settings = workspace.path().join("bractline.toml");
    let text = std::fs::read_to_string(&settings).expect("the settings");
    let undetermined = ["0.6", "0.9", "0.99"].map(|certainty| {
        let with = text.replace("certainty = 0.9\n", &format!("certainty = {certainty}\n"));
        std::fs::write(&settings, with).expect("the settings");
        let calls = calls(&workspace);
        assert_eq!(calls["within_window"], 12, "{calls}");
        assert_eq!(calls["without_range"], 0, "{calls}");
        let count = |name: &str| calls[name].as_u64().expect("a count");
        assert!(count("settled_by_further_sites") <= count("undetermined"));
        count("undetermined")
    });
    assert!(undetermined.is_sorted(), "{undetermined:?}");
    assert!(undetermined[0] < undetermined[2], "{undetermined:?}");
}
