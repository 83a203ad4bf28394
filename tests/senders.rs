//! Who reported, who has not, the letters to them, and how the records of each fared.

use serde_json::{Value, json};

use crate::support::{TestWorkspace, text_of};
use crate::undo::{load_from, visit};

/// A visit on a day of July 2026, handed in days later.
fn on(number: u32, day: u32, late: u32) -> Value {
    let mut visit = visit(number);
    visit["observed_on"] = json!(format!("2026-07-{day:02}"));
    visit["submitted_at"] = json!(format!("2026-07-{:02}T18:03:00Z", day + late));
    visit
}

/// North reports two weeks, south the first of them, west nothing but what is held.
fn reported() -> TestWorkspace {
    let workspace = TestWorkspace::of_region("us:46");
    load_from(
        &workspace,
        "north",
        "n.ndjson",
        &[on(1, 14, 1), on(2, 21, 4)],
    );
    load_from(&workspace, "south", "s.ndjson", &[on(3, 14, 0)]);
    let mut wrong = on(4, 21, 0);
    wrong["crop_stage"] = json!("R77");
    load_from(&workspace, "south", "wrong.ndjson", &[wrong]);
    workspace
}

fn write_contacts(workspace: &TestWorkspace, text: &str, mode: u32) {
    use std::os::unix::fs::PermissionsExt;
    let path = workspace.path().join("contacts.csv");
    std::fs::write(&path, text).unwrap();
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
}

const CONTACTS: &str = "sender,name,email,protocols\nsouth,Sam Example,sam@example.org,\n\
     east,Eve Example,eve@example.org,bsm-eggs\nwest,,,rssw\n";

#[test]
fn senders_are_listed_with_their_visits_by_week() {
    let workspace = reported();
    let senders = workspace
        .run(&["senders", "list", "--format", "json"])
        .expect_code(0)
        .json();
    assert_eq!(senders[0]["sender"], "north");
    assert_eq!(
        senders[0]["visits_by_week"],
        json!({"2026-W29": 1, "2026-W30": 1})
    );
    assert_eq!(senders[1]["visits_by_week"], json!({"2026-W29": 1}));
    let text = workspace.run(&["senders", "list"]).expect_code(0).stdout;
    assert!(
        text.contains("2 senders in 2026") && text.contains("W29 1, W30 1"),
        "{text}"
    );
    // A load that is taken back is no report.
    let loads = workspace
        .run(&[
            "submissions",
            "list",
            "--sender",
            "north",
            "--format",
            "json",
        ])
        .json();
    let load = loads[0]["load_id"].as_str().unwrap();
    workspace
        .run(&["submissions", "undo", load, "--reason", "x", "--yes"])
        .expect_code(0);
    let senders = workspace
        .run(&["senders", "list", "--format", "json"])
        .json();
    assert_eq!(senders.as_array().unwrap().len(), 1);
}

#[test]
fn who_has_not_reported_gets_a_letter_with_name_and_address() {
    let workspace = reported();
    write_contacts(&workspace, CONTACTS, 0o600);
    let letters = workspace.beside("letters");
    let asked = [
        "senders",
        "missing",
        "--week",
        "2026-W30",
        "--letters",
        &text_of(&letters),
    ];
    let missing = workspace
        .run(&[&asked[..], &["--format", "json"]].concat())
        .expect_code(0)
        .json();
    let names: Vec<&Value> = missing
        .as_array()
        .unwrap()
        .iter()
        .map(|sender| &sender["sender"])
        .collect();
    assert_eq!(names, ["east", "south", "west"]);
    assert_eq!(missing[1]["last_week"], "2026-W29");
    assert_eq!(missing[1]["held"], 1);
    let mut files: Vec<_> = std::fs::read_dir(&letters)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    files.sort();
    assert_eq!(files.len(), 3);
    let letter = std::fs::read_to_string(&files[1]).unwrap();
    for piece in [
        "To: Sam Example <sam@example.org>\n\nHello Sam Example,\n",
        "week ending July 26, 2026",
        "on hold until they are corrected",
    ] {
        assert!(letter.contains(piece), "{piece} in {letter}");
    }
    workspace.run(&asked).expect_code(1);

    let eggs = ["senders", "missing", "--week", "2026-W30", "--protocol"];
    let missing = workspace
        .run(&[&eggs[..], &["bsm-eggs", "--format", "json"]].concat())
        .json();
    let names: Vec<&Value> = missing
        .as_array()
        .unwrap()
        .iter()
        .map(|sender| &sender["sender"])
        .collect();
    assert_eq!(names, ["east", "south"]);
    workspace
        .run(&[&eggs[..], &["no-such"]].concat())
        .expect_code(1);

    // The letters of the desk are addressed too.
    let desk = workspace.beside("desk");
    workspace
        .run(&["held", "export", "--out", &text_of(&desk)])
        .expect_code(0);
    let letter = std::fs::read_dir(desk)
        .unwrap()
        .map(|entry| entry.unwrap().path());
    let letter = letter
        .into_iter()
        .find(|path| text_of(path).ends_with(".letter.txt"))
        .unwrap();
    let letter = std::fs::read_to_string(letter).unwrap();
    assert!(
        letter.starts_with("To: Sam Example <sam@example.org>\n\nHello Sam Example,\n"),
        "{letter}"
    );
}

#[test]
fn a_contact_list_that_others_read_or_that_is_wrong_is_refused_with_its_place() {
    let workspace = reported();
    let missing = ["senders", "missing", "--week", "2026-W30"];
    write_contacts(&workspace, CONTACTS, 0o644);
    let refused = workspace.run(&missing).expect_code(1);
    assert!(refused.stderr.contains("chmod 600"), "{}", refused.stderr);
    write_contacts(&workspace, "sender,email\nnorth,nobody\n", 0o600);
    let refused = workspace.run(&missing).expect_code(1);
    assert!(
        refused
            .stderr
            .contains("contacts.csv, line 2, column email"),
        "{}",
        refused.stderr
    );
}

#[test]
fn figures_of_senders_and_scouts_are_counted_and_private() {
    let workspace = reported();
    let stats = workspace
        .run(&["senders", "stats", "--format", "json"])
        .expect_code(0)
        .json();
    let north = &stats["senders"]["north"];
    assert_eq!((&north["accepted"], &north["held"]), (&json!(2), &json!(0)));
    assert_eq!(north["median_days_late"], json!(2.5));
    // Held records are counted in the year in which they were received, which is that of the clock.
    assert_eq!(stats["senders"]["south"]["accepted"], json!(1));
    assert_eq!(stats["scouts"]["scout o-1"]["median_days_late"], json!(1.0));
    let out = workspace.beside("private/senders.csv");
    workspace
        .run(&["senders", "stats", "--out", &text_of(&out)])
        .expect_code(0);
    let table = std::fs::read_to_string(&out).unwrap();
    assert!(table.contains("sender,north,2,0,0,"), "{table}");
    use std::os::unix::fs::PermissionsExt;
    assert_eq!(
        std::fs::metadata(&out).unwrap().permissions().mode() & 0o777,
        0o600
    );
}

#[test]
fn nothing_of_senders_is_public() {
    let workspace = TestWorkspace::of_region("us:46");
    let visits: Vec<Value> = (1..5).map(|number| on(number, 21, 1)).collect();
    load_from(&workspace, "quincefield", "q.ndjson", &visits);
    load_from(&workspace, "thornbury", "t.ndjson", &[on(5, 21, 1)]);
    let out = workspace.beside("package");
    workspace
        .run(&["export", "--out", &text_of(&out)])
        .expect_code(0);
    let files = crate::support::folder_bytes(&out);
    assert!(files.len() > 5);
    for (name, bytes) in files {
        let text = String::from_utf8_lossy(&bytes).into_owned();
        assert!(
            !text.contains("quincefield") && !text.contains("thornbury"),
            "{name}"
        );
    }
}
