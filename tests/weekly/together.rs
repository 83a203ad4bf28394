//! Several alerts issued in one go: what is asked before, what comes in question, and what a failure says.

use std::io::Write;
use std::process::{Command, Stdio};

use serde_json::Value;

use crate::support::cli::assert_message;
use crate::support::pests::{DAY, PESTS, WEEK, load, of_pest, of_pests, weeks_of};
use crate::support::{TestWorkspace, folder_bytes, text_of};

const BOTH: [&str; 2] = ["bsm-eggs", "rssw"];

fn issued(workspace: &TestWorkspace) -> Vec<String> {
    let listed = workspace
        .run(&["alert", "--list", "--format", "json"])
        .expect_code(0)
        .json();
    let alerts = listed["alerts"].as_array().expect("alerts").iter();
    let protocol = |alert: &Value| alert["protocol"].as_str().expect("a protocol").to_owned();
    alerts.map(protocol).collect()
}

/// Runs a command on a terminal (`script` of Debian's bsdutils) and answers; what the terminal showed.
fn on_a_terminal(workspace: &TestWorkspace, arguments: &str, answer: &str) -> String {
    let program = env!("CARGO_BIN_EXE_bractline");
    let command = format!(
        "'{program}' --workspace '{}' {arguments}",
        text_of(&workspace.path())
    );
    let mut script = Command::new("script")
        .args(["-qec", &command, "/dev/null"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("script is there: apt-get install bsdutils");
    let mut keys = script.stdin.take().expect("its keys");
    keys.write_all(answer.as_bytes()).expect("an answer");
    let output = script.wait_with_output().expect("it ends");
    String::from_utf8_lossy(&output.stdout).replace('\r', "")
}

#[test]
fn the_alerts_of_a_week_are_issued_after_one_look_at_what_becomes_public() {
    let workspace = weeks_of(&BOTH);
    // Nobody is there to confirm it.
    let run = workspace.run(&["alert", "--issue"]).expect_code(1);
    assert_message(
        &run,
        &[
            "2 alerts of bsm-eggs, rssw would be issued, and nobody is here to confirm it",
            "--yes",
        ],
    );
    assert!(run.stdout.is_empty(), "{run:#?}");
    let shown = on_a_terminal(&workspace, "alert --issue", "n\n");
    for part in [
        "newest week with visits: 2026-W30, ",
        "would issue 2 alerts, and make 6 rows public for good:",
        "  bsm-eggs: ",
        "3 counties shown, 0 counties withheld; 3 rows made public",
        "Issue them? [y/N]",
        "nothing is changed yet",
    ] {
        assert!(shown.contains(part), "{part}: {shown}");
    }
    assert_eq!(issued(&workspace), [""; 0], "{shown}");
    let shown = on_a_terminal(&workspace, "alert --issue", "y\n");
    assert!(
        shown.contains("issued alert 1 of 2026-W30, bsm-eggs"),
        "{shown}"
    );
    assert_eq!(issued(&workspace), BOTH, "{shown}");
    let run = workspace.run(&["alert", "--issue", "--yes"]).expect_code(1);
    assert_message(
        &run,
        &[
            "bsm-eggs is issued already, as alert 1",
            "rssw is issued already, as alert 2",
            "--reissue 1 2",
        ],
    );

    // A pest whose reports come later is issued by the same command; what is issued is left as it is, and compared.
    let region = scouting::region::Region::built_in("us:46").expect("South Dakota");
    let mut late = of_pests(&PESTS[2..]);
    late.extend(of_pest(&region, "bsm-eggs", "46099", 4, DAY));
    load(&workspace, "late.ndjson", &late);
    let run = workspace.run(&["alert", "--issue", "--yes"]).expect_code(0);
    assert!(
        run.stdout
            .contains("issued alert 3 of 2026-W30, sunflower-moth-traps"),
        "{run:#?}"
    );
    for part in [
        "not again: bsm-eggs, issued as alert 1; an update would say something else of 1 place: bractline alert --reissue 1",
        "not again: rssw, issued as alert 2",
    ] {
        assert!(run.stdout.contains(part), "{part}: {run:#?}");
    }
    // Several updates are confirmed as several alerts are.
    let run = workspace
        .run(&["alert", "--reissue", "1", "2"])
        .expect_code(1);
    assert!(
        run.stderr
            .contains("2 alerts of bsm-eggs, rssw would be issued"),
        "{run:#?}"
    );
    let shown = on_a_terminal(&workspace, "alert --reissue 1 2", "\n");
    for part in [
        "an update of alert 1; it says something else of 1 place",
        "an update of alert 2; it says the same of every place",
    ] {
        assert!(shown.contains(part), "{part}: {shown}");
    }
    let run = workspace.run(&["alert", "--reissue", "2", "1", "--yes", "--format", "json"]);
    let numbers: Vec<Value> = run.expect_code(0).json()["alerts"]
        .as_array()
        .expect("alerts")
        .iter()
        .map(|alert| alert["replaces"].clone())
        .collect();
    assert_eq!(numbers, [1, 2]);
    // The page of the week in the workspace has the newest of each.
    let page = workspace
        .path()
        .join("alerts")
        .join(WEEK)
        .join("index.html");
    let page = std::fs::read_to_string(page).expect("the week's page");
    for part in [
        "../issued/0003/alert.html",
        "alert 4, an update",
        "alert 5, an update",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    for number in ["1", "2", "3", "4", "5"] {
        workspace
            .run(&["alert", "--as-issued", number])
            .expect_code(0);
    }
}

#[test]
fn notes_are_given_by_protocol_and_one_that_the_gate_stops_leaves_nothing_issued() {
    let workspace = weeks_of(&BOTH);
    let one = text_of(&workspace.write("one.md", "One note."));
    let run = workspace.run(&["alert", "--note", &one]).expect_code(1);
    assert_message(
        &run,
        &[
            "--note is for one alert, and there are 2: bsm-eggs, rssw",
            "--notes DIR",
        ],
    );
    let notes = workspace.beside("notes");
    std::fs::create_dir(&notes).expect("a folder");
    let notes_path = text_of(&notes);
    let refused = |says: &str| {
        let run = workspace
            .run(&["alert", "--issue", "--yes", "--notes", &notes_path])
            .expect_code(1);
        assert!(
            run.stderr.contains(says) && run.stderr.contains("help:"),
            "{says}: {run:#?}"
        );
        assert_eq!(issued(&workspace), [""; 0]);
    };
    refused("the folder of --notes is empty");
    let write = |name: &str, text: &str| std::fs::write(notes.join(name), text).expect("written");
    write("moths.md", "Moths.");
    refused("the folder of --notes has moths.md, and no alert of moths is made");
    std::fs::remove_file(notes.join("moths.md")).expect("removed");
    write("words.txt", "Words.");
    refused("holds what is no note");
    std::fs::remove_file(notes.join("words.txt")).expect("removed");
    // The second of two names a field: the first is not issued either.
    write("rssw.md", "Look at F-46013-2-rssw.");
    refused("the note: it holds");
    write("rssw.md", "Weevils are at R5.1.");
    let run = workspace.run(&["alert", "--issue", "--yes", "--notes", &notes_path]);
    run.expect_code(0);
    let files = folder_bytes(&workspace.path().join("alerts/issued"));
    let page = |number: u32| {
        String::from_utf8_lossy(&files[&format!("{number:04}/alert.md")]).into_owned()
    };
    assert!(!page(1).contains("Weevils are at") && page(2).contains("Weevils are at"));
}

#[test]
fn a_failure_in_the_middle_says_which_alerts_were_issued() {
    let workspace = weeks_of(&PESTS);
    // A folder that is in the way of the second alert's: its row is in the table before its folder gets its number.
    let in_the_way = workspace.path().join("alerts/issued/0002");
    std::fs::create_dir_all(&in_the_way).expect("a folder");
    std::fs::write(in_the_way.join("mine"), "mine").expect("a file");
    let run = workspace.run(&["alert", "--issue", "--yes"]).expect_code(1);
    assert_message(
        &run,
        &[
            "issued: alert 1 (bsm-eggs), alert 2 (rssw); not issued: sunflower-moth-traps",
            "then issue again",
        ],
    );
    std::fs::remove_dir_all(&in_the_way).expect("it is there");
    workspace.run(&["alert", "--issue", "--yes"]).expect_code(0);
    assert_eq!(issued(&workspace), PESTS);
    for number in ["1", "2", "3"] {
        workspace
            .run(&["alert", "--as-issued", number])
            .expect_code(0);
        let page = workspace
            .path()
            .join(format!("alerts/issued/000{number}/alert.html"));
        assert!(page.is_file(), "{number}");
    }
}

#[test]
fn two_protocols_of_one_count_are_not_issued_together() {
    let workspace = weeks_of(&["bsm-eggs"]);
    // The same count of the same pest against another threshold.
    let text = std::fs::read_to_string("pipeline/protocols/bsm-eggs.toml").expect("the protocol");
    let own = workspace.path().join("protocols/eggs-again.toml");
    std::fs::write(own, text).expect("written");
    let mut again = of_pests(&["bsm-eggs"]);
    for visit in &mut again {
        visit["visit_id"] = format!("again-{}", visit["visit_id"].as_str().expect("an id")).into();
        visit["protocol"] = "eggs-again".into();
    }
    load(&workspace, "again.ndjson", &again);
    let run = workspace.run(&["alert", "--issue", "--yes"]).expect_code(1);
    assert_message(
        &run,
        &[
            "nothing was issued: alerts of bsm-eggs and eggs-again are of one count",
            "--protocol ID",
        ],
    );
    assert_eq!(issued(&workspace), [""; 0]);
}
