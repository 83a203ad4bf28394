//! Drafts of mappings for usual layouts: how many lines a person writes until a draft loads its sheet, and that the
//! visits are then those of the sheet. All sheets are invented.

use serde_json::{Value, json};

use super::draft_sheets::{Layout, layouts};
use crate::support::TestWorkspace;
use crate::support::mapping::FOLDER;

/// A question of a draft.
const QUESTION: &str = "= \"?\"";
/// Lines that a person may have to write.
const LINES_MAX: usize = 5;

#[test]
fn a_person_writes_few_lines_of_a_mapping() {
    let region = TestWorkspace::of_invented_region();
    let mut table =
        String::from("| layout | lines of the mapping | written by hand |\n|---|--:|--:|\n");
    let mut most = 0;
    for layout in layouts() {
        let (lines, written) = drafted_and_loaded(&region, &layout);
        most = most.max(written);
        table += &format!("| {} | {lines} | {written} |\n", layout.name);
    }
    assert!(
        most <= LINES_MAX,
        "more than {LINES_MAX} lines are written by hand:\n{table}"
    );
    let readme = std::fs::read_to_string(format!("{FOLDER}/README.md")).expect("a page");
    assert!(
        readme.contains(&table),
        "sample_data/mappings/README.md has another table than\n{table}"
    );
}

/// Lines of the final mapping, and how many of them the draft has not.
fn drafted_and_loaded(region: &TestWorkspace, layout: &Layout) -> (usize, usize) {
    let workspace = region.copied();
    let file = workspace
        .write(layout.file, layout.bytes())
        .display()
        .to_string();
    let draft = workspace
        .run_plain(&["check", "--suggest", &file])
        .expect_code(0)
        .stdout;
    let mut mapping = draft.clone();
    for (question, answer) in &layout.answers {
        assert!(
            mapping.contains(question),
            "{}: {question} is not in\n{mapping}",
            layout.name
        );
        mapping = mapping.replacen(question, answer, 1);
    }
    if draft.contains(QUESTION) {
        let path = workspace.write("draft.toml", &draft).display().to_string();
        let run = workspace
            .run(&["load", &file, "--mapping", &path])
            .expect_code(1);
        assert!(run.stderr.contains("\"?\""), "{}: {run:?}", layout.name);
    }
    let path = workspace
        .write("final.toml", &mapping)
        .display()
        .to_string();
    let run = workspace.run(&["load", &file, "--mapping", &path]);
    assert_eq!(run.code, Some(0), "{}: {run:#?}\n{mapping}", layout.name);
    for truth in &layout.truth {
        let id = truth["visit_id"].as_str().expect("an id");
        let shown = workspace.run(&["visit", "show", id, "--format", "json"]);
        assert_eq!(shown.code, Some(0), "{}: {shown:?}\n{mapping}", layout.name);
        assert_eq!(
            shown.json()["revisions"][0]["record"],
            *truth,
            "{}\n{mapping}",
            layout.name
        );
    }
    let count = json!(layout.truth.len());
    let sum = workspace
        .run(&[
            "sql",
            "select count(*) as visits from visits",
            "--format",
            "json",
        ])
        .json();
    assert_eq!(sum[0]["visits"], count, "{}", layout.name);
    let mut left: Vec<&str> = draft.lines().collect();
    let is_new = |line: &&str| match left.iter().position(|other| other == line) {
        Some(place) => {
            left.swap_remove(place);
            false
        }
        None => !line.trim().is_empty(),
    };
    let written = mapping.lines().filter(is_new).count();
    let lines = mapping
        .lines()
        .filter(|line| !line.trim().is_empty() && !line.starts_with('#'))
        .count();
    (lines, written)
}

#[test]
fn a_draft_without_a_question_loads_its_sheet() {
    let workspace = TestWorkspace::of_invented_region();
    let sheet = "Field,Date,Scout,Submitted,Lon,Lat,Area (ac),Crop,Stage,Protocol,Cost (USD/ac),Price (USD/lb),Plants/ac,S1H1,S1H2\n\
         F-9001,2026-07-20,obs-9001,2026-07-21T12:00:00Z,-100.125,45.25,100,oilseed,R3,bsm-eggs,8.00,0.16,20000,3,0\n";
    let file = workspace.write("north.csv", sheet).display().to_string();
    let draft = workspace
        .run_plain(&["check", "--suggest", &file])
        .expect_code(0)
        .stdout;
    assert!(!draft.contains(QUESTION), "{draft}");
    let mapping = workspace.write("north.toml", &draft).display().to_string();
    let account: Value = workspace
        .run(&["load", &file, "--mapping", &mapping, "--format", "json"])
        .expect_code(0)
        .json();
    assert_eq!(account["accepted"], 1, "{draft}");
}

#[test]
fn what_can_be_read_in_two_ways_is_asked() {
    let workspace = TestWorkspace::empty();
    let cases = [
        (
            "Field,Date,Scout,Eggs\nF-1,6/7/2026,o,1\nF-2,7/8/2026,o,2\n",
            "format = \"?\"",
        ),
        (
            "Field,Date,Scout,Plants/ac\nF-1,2026-07-06,o,\"1,234\"\n",
            "decimalChar = \".\"\ngroupChar = \",\"",
        ),
        (
            "Field,Date,Scout,Price ($/lb)\nF-1,2026-07-06,o,\"1,234\"\n",
            "decimalChar = \"?\"\ngroupChar = \"?\"",
        ),
        (
            "Field,Date,Scout,Area\nF-1,2026-07-06,o,12\n",
            "unit = \"?\"",
        ),
        (
            "Field,Date,Scout,B1,B2,B3\nF-1,2026-07-06,o,1,2,3\n",
            "to = \"?\"",
        ),
        (
            "Field,Date,Scout,Bud 1,Bud 2\nF-1,2026-07-06,o,-,3\n",
            "values = { \"-\" = \"?\" }",
        ),
        (
            "Field,Date,Scout,Bud 1,Bud 2\nF-1,2026-07-06,o,2,3\nF-1,2026-07-06,o,2,3\n",
            "rowIs = \"?\"",
        ),
        (
            "Field,Date,Scout,Bud 1,Bud 2\nF-1,2026-07-06,Ann Example,2,3\n",
            "values = { \"Ann Example\" = \"?\" }",
        ),
        (
            "Field,Date,Scout,Crop,Bud 1,Bud 2\nF-1,2026-07-06,o,NX12,2,3\n",
            "values = { \"NX12\" = \"?\" }",
        ),
        (
            "Field,Date,Scout,Wind\nF-1,2026-07-06,o,calm\n",
            "name = \"Wind\"\nto = \"?\"",
        ),
    ];
    for (sheet, asked) in cases {
        let file = workspace.write("north.csv", sheet).display().to_string();
        let draft = workspace
            .run_plain(&["check", "--suggest", &file])
            .expect_code(0)
            .stdout;
        assert!(draft.contains(asked), "{sheet}: {asked} is not in\n{draft}");
    }
}
