//! Text that means no good, in every member that holds text: its record is accepted or held, and the message is plain.
//! What breaks a record is in `judges/hostile.rs`.

use std::collections::BTreeSet;

use serde_json::Value;

use crate::support::hostile_text::attacks;
use crate::support::{Counts, TestWorkspace, counts, full_visit, lines, text_of};

/// Every member of a visit that is text, with its place.
fn text_members(of: &Value, at: &str) -> Vec<String> {
    match of {
        Value::String(_) => vec![at.to_owned()],
        Value::Object(members) => {
            let each = |(name, value)| text_members(value, &format!("{at}/{name}"));
            members.iter().flat_map(each).collect()
        }
        Value::Array(list) => {
            let each = |(place, value)| text_members(value, &format!("{at}/{place}"));
            list.iter().enumerate().flat_map(each).collect()
        }
        _ => Vec::new(),
    }
}

#[test]
fn whatever_text_a_member_holds_its_record_is_accepted_or_held_and_told_of_plainly() {
    let workspace = TestWorkspace::of_region("us:46");
    let mut whole = full_visit("whole");
    whole["remarks"] = "a remark".into();
    whole["field"]["farm_id"] = "farm".into();
    whole["field"]["county_id"] = "46065".into();
    whole["sites"][0]["side"] = "north".into();
    let members = text_members(&whole, "");
    assert!(members.len() >= 16, "{members:?}");
    let mut texts = attacks();
    texts.push("n".repeat(10_000));
    texts.push("\u{1b}[2J\u{1b}]0;title\u{7}\u{8}".to_owned());
    let mut all = Vec::new();
    for member in &members {
        for text in &texts {
            let mut visit = full_visit("");
            visit.clone_from(&whole);
            visit["visit_id"] = format!("visit-{}", all.len()).into();
            visit["field"]["field_id"] = format!("field-{}", all.len()).into();
            *visit.pointer_mut(member).expect("the member") = text.as_str().into();
            all.push(visit);
        }
    }
    let file = workspace.write("visits.ndjson", lines(&all));
    let name = text_of(&file);
    let said = workspace.run(&["load", &name]).expect_code(3);
    let account = workspace.load(&[&file]);
    let Counts {
        received,
        accepted,
        duplicate,
        held,
    } = counts(&account);
    assert_eq!(
        (received, accepted),
        (all.len() as u64, 0),
        "the second time"
    );
    assert!(duplicate > 0 && held > 0 && duplicate + held == received);
    // Of 10,000 letters nothing is kept as a visit, and a report does not repeat them all.
    let reports = account["submissions"][0]["held_records"]
        .as_array()
        .expect("reports");
    let long: Vec<&Value> = reports
        .iter()
        .filter(|report| {
            let line = report["line"].as_u64().expect("a line") as usize - 1;
            line % texts.len() == texts.len() - 2
        })
        .collect();
    assert_eq!(long.len(), members.len());
    for report in long {
        assert!(report.to_string().len() < 2_500, "{report:.300}");
    }
    // A terminal is sent nothing that it would obey or that would turn its lines around.
    let list = workspace.run(&["held", "list"]).expect_code(0);
    for (command, run) in [("load", said), ("held list", list)] {
        for (stream, text) in [("stdout", run.stdout), ("stderr", run.stderr)] {
            let obeyed: BTreeSet<char> = text
                .chars()
                .filter(|&letter| bractline::shared::unseen::is_unseen(letter) && letter != '\n')
                .collect();
            assert_eq!(obeyed, BTreeSet::new(), "{command}, {stream}");
        }
    }
    workspace.run(&["store", "verify"]).expect_code(0);
}
