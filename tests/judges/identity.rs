//! What the store holds after duplicates, conflicts and corrections, read by a program of others.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use crate::support::identity::{sample, text_of};
use crate::support::{Counts, TestWorkspace, counts, folder_bytes, full_visit, lines, received};

#[test]
fn the_same_content_in_other_words_is_a_duplicate() {
    let workspace = TestWorkspace::of_region("us:46");
    let visit = full_visit("same");
    let text = visit.to_string();
    let account = workspace.load_text("first", &text);
    assert_eq!(counts(&account), received(1).accepted(1));
    let reversed: Vec<String> = visit
        .as_object()
        .unwrap()
        .iter()
        .rev()
        .map(|(name, value)| format!(" {} :\t{value}", json!(name)))
        .collect();
    for (words, name) in [
        (text.clone(), "word for word"),
        (
            format!("{{{}}}", reversed.join(" ,")),
            "members in another order, with blanks",
        ),
        (text.replace("\"amount\":8.0", "\"amount\":8"), "8 for 8.0"),
        (
            text.replace("\"amount\":8.0", "\"amount\":8.00"),
            "8.00 for 8.0",
        ),
        (
            text.replace("\"amount\":8.0", "\"amount\":0.8e1"),
            "0.8e1 for 8.0",
        ),
        (
            text.replace("\"count\":20000", "\"count\":2E+4"),
            "2E+4 for 20000",
        ),
        (
            text.replace("\"revision\":1", "\"revision\":1.0"),
            "1.0 for 1",
        ),
        (
            text.replace("oilseed", "oil\\u0073eed"),
            "an escape for a letter",
        ),
        (format!("\u{feff}{text}"), "a byte order mark"),
    ] {
        assert!(
            name == "word for word" || words != text,
            "{name}: nothing was changed"
        );
        assert_eq!(
            counts(&workspace.load_text("again", &words)),
            received(1).duplicate(1),
            "{name}"
        );
    }
    let pretty = serde_json::to_string_pretty(&visit).unwrap();
    assert_eq!(
        counts(&workspace.load_text("pretty", &pretty)),
        received(1).duplicate(1)
    );
    assert_eq!(workspace.store_rows()["visits"], json!([["same", 1]]));
}

#[test]
fn other_content_under_the_same_revision_is_held_as_a_conflict() {
    let workspace = TestWorkspace::of_region("us:46");
    let first = full_visit("one");
    let mut other = first.clone();
    other["sites"][0]["heads"][0][0] = json!(9);
    let mut remark = first.clone();
    remark["remarks"] = json!("seen again");
    // Within one submission, and in a later one; the second time it is held already.
    let account = workspace.load_text("a", &lines(&[first.clone(), other.clone(), first.clone()]));
    assert_eq!(
        counts(&account),
        received(3).accepted(1).duplicate(1).held(1)
    );
    let account = workspace.load_text("b", &lines(&[remark, other]));
    assert_eq!(counts(&account), received(2).held(2));
    assert_eq!(account["held_before"], 1);
    let report = &account["submissions"][0]["held_records"][0];
    assert_eq!(report["visit_id"], "one");
    assert_eq!(report["findings"][0]["code"], "revision-conflict");
    assert_eq!(report["findings"][0]["pointer"], "/revision");
    let stored = workspace.store_rows();
    assert_eq!(stored["visits"], json!([["one", 1]]));
    assert_eq!(stored["held"].as_array().unwrap().len(), 2);
}

/// Four revisions of a visit: as first sent, corrected, withdrawn, corrected again; or withdrawn at last.
fn revisions(visit_id: &str, number: usize, withdrawn_at_last: bool) -> Vec<Value> {
    (1..=4)
        .map(|revision| {
            let mut visit = full_visit(visit_id);
            visit["field"]["field_id"] = json!(format!("F-{number}"));
            visit["revision"] = json!(revision);
            visit["sites"][0]["heads"][0][0] = json!(revision * 3 + number);
            if revision == if withdrawn_at_last { 4 } else { 3 } {
                visit["retracted"] = json!(true);
            }
            visit
        })
        .collect()
}

/// Every order of four things.
fn orders() -> Vec<[usize; 4]> {
    let mut orders = Vec::new();
    for code in 0..256 {
        let order = [code & 3, code >> 2 & 3, code >> 4 & 3, code >> 6];
        if (0..4).all(|wanted| order.contains(&wanted)) {
            orders.push(order);
        }
    }
    orders
}

#[test]
fn revisions_in_every_order_give_the_same_current_visits_and_the_same_bytes() {
    let orders = orders();
    assert_eq!(orders.len(), 24);
    // A visit for each order and each ending, so that one store shows them all.
    let groups: Vec<(Vec<Value>, [usize; 4])> = (0..48)
        .map(|number| {
            let revisions = revisions(&format!("visit-{number}"), number, number % 2 == 1);
            (revisions, orders[number / 2])
        })
        .collect();
    let in_turn = |turn: usize, order_of: &dyn Fn(&[usize; 4]) -> [usize; 4]| -> Vec<Value> {
        groups
            .iter()
            .map(|(revisions, order)| revisions[order_of(order)[turn]].clone())
            .collect()
    };
    let as_given = |order: &[usize; 4]| *order;
    let sorted = |_: &[usize; 4]| [0, 1, 2, 3];
    let turns = |order_of: &dyn Fn(&[usize; 4]) -> [usize; 4]| -> Vec<String> {
        (0..4).map(|turn| lines(&in_turn(turn, order_of))).collect()
    };

    // In separate runs, in separate submissions of one run, and within one submission.
    let runs = TestWorkspace::of_region("us:46");
    for (turn, text) in turns(&as_given).iter().enumerate() {
        assert_eq!(
            counts(&runs.load_text(&format!("turn-{turn}"), text)),
            received(48).accepted(48)
        );
    }
    let submissions = TestWorkspace::of_region("us:46");
    let files: Vec<PathBuf> = turns(&as_given)
        .iter()
        .enumerate()
        .map(|(turn, text)| submissions.write(&format!("turn-{turn}"), text))
        .collect();
    let files: Vec<&Path> = files.iter().map(PathBuf::as_path).collect();
    assert_eq!(
        counts(&submissions.load(&files)),
        received(192).accepted(192)
    );
    let within = TestWorkspace::of_region("us:46");
    within.load_text("all", &turns(&as_given).concat());
    let in_order = TestWorkspace::of_region("us:46");
    in_order.load_text("all", &turns(&sorted).concat());

    let expected = in_order.store_rows();
    assert_eq!(
        expected["current"].as_object().unwrap().len(),
        24,
        "half are withdrawn at last"
    );
    let figures = in_order.rolled_up();
    let table = String::from_utf8(figures["private/county_week_full.csv"].clone()).unwrap();
    assert_eq!(table.lines().count(), 2, "one county in one week: {table}");
    for (workspace, name) in [
        (runs, "runs"),
        (submissions, "submissions"),
        (within, "within"),
    ] {
        let stored = workspace.store_rows();
        assert_eq!(stored["current"], expected["current"], "{name}");
        assert_eq!(stored["visits"], expected["visits"], "{name}");
        let rolled_up = workspace.rolled_up();
        for file in ["private/county_week_full.csv", "private/field_week.parquet"] {
            assert!(rolled_up[file] == figures[file], "{file} of {name}");
        }
        let info = workspace.run(&["store", "info", "--format", "json"]).json();
        assert_eq!(info["current_visits"], 24, "{name}");
    }
}

/// The tables that a roll-up reads, byte for byte.
fn kept_bytes(workspace: &TestWorkspace) -> BTreeMap<String, Vec<u8>> {
    let mut files = folder_bytes(&workspace.path().join("store"));
    files.retain(|name, _| !name.starts_with("receipts/"));
    files
}

#[test]
fn a_reloaded_submission_changes_nothing_and_its_receipt_says_so() {
    let workspace = TestWorkspace::of_invented_region();
    let sample = sample(7, 60);
    let file = workspace.write("sample", text_of(&sample));
    let first = workspace.load(&[&file]);
    let (kept, figures) = (kept_bytes(&workspace), workspace.rolled_up());
    assert!(
        first["accepted"].as_u64() > Some(100) && first["held"].as_u64() > Some(10),
        "{first:#}"
    );
    let again = workspace.load(&[&file]);
    let Counts {
        received: all,
        accepted,
        duplicate,
        held,
    } = counts(&first);
    assert_eq!(
        counts(&again),
        received(all).duplicate(accepted + duplicate).held(held)
    );
    assert_eq!(again["held_before"], held);
    assert!(
        kept_bytes(&workspace) == kept,
        "visits, units or held changed"
    );
    assert!(workspace.rolled_up() == figures, "a roll-up changed");
    let stored = workspace.store_rows();
    assert_eq!(stored["receipts"].as_array().unwrap().len(), 2);
    let sentence = workspace
        .run(&["load", &file.display().to_string()])
        .expect_code(3)
        .stdout;
    assert!(
        sentence.contains(&format!("{held} held ({held} of them held before)")),
        "{sentence}"
    );
    workspace.run(&["store", "verify"]).expect_code(0);
}
