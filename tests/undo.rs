//! Submissions by sender: whose a record is, the list, and taking a submission back.

use serde_json::{Value, json};

use crate::support::held_desk::{all, export, open};
use crate::support::{TestWorkspace, counts, full_visit, lines, received, text_of};

/// A visit of its own field and scout.
pub fn visit(number: u32) -> Value {
    let mut visit = full_visit(&format!("v-{number}"));
    visit["field"]["field_id"] = json!(format!("f-{number}"));
    visit["field"]["lon"] = json!(-100.1 - f64::from(number) / 10.0);
    visit["observer_id"] = json!(format!("o-{number}"));
    visit
}

/// Loads visits from a sender; the account.
pub fn load_from(workspace: &TestWorkspace, sender: &str, name: &str, visits: &[Value]) -> Value {
    let path = text_of(&workspace.write(name, lines(visits)));
    let run = workspace.run(&["load", "--sender", sender, "--format", "json", &path]);
    run.json()
}

/// The rows of a query.
pub fn sql(workspace: &TestWorkspace, query: &str) -> Vec<Value> {
    let run = workspace.run(&["sql", query, "--format", "json"]);
    run.expect_code(0).json().as_array().unwrap().clone()
}

fn listed(workspace: &TestWorkspace, more: &[&str]) -> Vec<Value> {
    let run = workspace.run(&[&["submissions", "list", "--format", "json"], more].concat());
    run.expect_code(0).json().as_array().unwrap().clone()
}

/// The id of the load of a file.
fn load_of(workspace: &TestWorkspace, file: &str) -> String {
    let listed = listed(workspace, &[]);
    let of_file = listed
        .iter()
        .rfind(|load| load["file_name"] == file)
        .unwrap();
    of_file["load_id"].as_str().unwrap().to_owned()
}

fn undo(workspace: &TestWorkspace, load: &str, more: &[&str]) -> crate::support::Run {
    let arguments = [
        "submissions",
        "undo",
        load,
        "--reason",
        "wrong mapping",
        "--by",
        "office",
    ];
    workspace.run(&[&arguments, more].concat())
}

/// Visit, revision, area and withdrawal of each current visit.
fn current(workspace: &TestWorkspace) -> Vec<(String, i64, f64, bool)> {
    let rows = sql(
        workspace,
        "select visit_id, revision, area_ha, retracted from visits v where not exists (select 1 from visits o \
           where o.visit_id = v.visit_id and o.revision > v.revision) order by visit_id",
    );
    let row = |row: &Value| {
        let id = row["visit_id"].as_str().unwrap().to_owned();
        let area = row["area_ha"].as_f64().unwrap();
        (
            id,
            row["revision"].as_i64().unwrap(),
            area,
            row["retracted"].as_bool().unwrap(),
        )
    };
    rows.iter().map(row).collect()
}

fn with_area(mut visit: Value, revision: u32, area: f64) -> Value {
    visit["revision"] = json!(revision);
    visit["field"]["area_ha"] = json!(area);
    visit
}

// --- Whose a submission is -----------------------------------------------------------------------

#[test]
fn a_sender_is_kept_with_receipt_visits_and_held_records_and_a_correction_keeps_it() {
    let workspace = TestWorkspace::of_region("us:46");
    let mut wrong = visit(2);
    wrong["crop_stage"] = json!("R77");
    load_from(&workspace, " north office ", "a.ndjson", &[visit(1), wrong]);
    let senders = |table: &str| -> Vec<Value> {
        let rows = sql(
            &workspace,
            &format!("select sender from {table} order by load_id"),
        );
        rows.iter().map(|row| row["sender"].clone()).collect()
    };
    assert_eq!(senders("receipts"), [json!("north office")]);
    assert_eq!(senders("visits"), [json!("north office")]);
    assert_eq!(senders("held"), [json!("north office")]);
    let groups = workspace.run(&["held", "list", "--format", "json"]).json();
    assert_eq!(groups["senders"][0]["sender_is"], "named");
    assert_eq!(groups["senders"][0]["sender"], "north office");

    // The file of the desk comes back through somebody else, still wrong, and once more, right.
    let files = export(&workspace, "ndjson", "desk", ".ndjson");
    let still = std::fs::read_to_string(&files[0])
        .unwrap()
        .replace("R77", "R78");
    load_from(
        &workspace,
        "desk",
        "still.ndjson",
        &[serde_json::from_str(&still).unwrap()],
    );
    assert_eq!(all(&workspace)[0]["submitted_by"], "north office");
    let right: Value = serde_json::from_str(&still.replace("R78", "R3")).unwrap();
    let account = load_from(&workspace, "desk", "right.ndjson", &[right]);
    assert_eq!(
        (counts(&account), &account["closed"]),
        (received(1).accepted(1), &json!(1))
    );
    assert_eq!(
        senders("visits"),
        [json!("north office"), json!("north office")]
    );
    assert_eq!(senders("receipts")[2], json!("desk"));
    workspace
        .run(&["load", "--sender", " ", "x"])
        .expect_code(2);
}

#[test]
fn a_mapping_names_the_sender_unless_the_command_does() {
    let workspace = TestWorkspace::of_invented_region();
    let table = "sample_data/mappings/wide.csv";
    let toml = std::fs::read_to_string("sample_data/mappings/wide.toml").unwrap();
    let with_sender = toml.replacen(
        "mapping = \"1\"",
        "mapping = \"1\"\nsender = \" south \"",
        1,
    );
    assert_ne!(with_sender, toml);
    let path = text_of(&workspace.write("south.toml", with_sender));
    workspace.run(&["load", "--mapping", &path, table]);
    workspace.run(&["load", "--mapping", &path, "--sender", "west", table]);
    let senders = sql(&workspace, "select sender from receipts order by load_id");
    assert_eq!(
        senders,
        [json!({"sender": "south"}), json!({"sender": "west"})]
    );
}

#[test]
fn submissions_are_listed_by_sender_and_filtered() {
    let workspace = TestWorkspace::of_region("us:46");
    load_from(&workspace, "south", "s.ndjson", &[visit(1)]);
    load_from(&workspace, "north", "n.ndjson", &[visit(2), visit(2)]);
    workspace.load_text("none.ndjson", &lines(&[visit(3)]));
    let files = |more: &[&str]| -> Vec<Value> {
        listed(&workspace, more)
            .iter()
            .map(|load| load["file_name"].clone())
            .collect()
    };
    assert_eq!(files(&[]), ["n.ndjson", "s.ndjson", "none.ndjson"]);
    assert_eq!(files(&["--sender", "south"]), ["s.ndjson"]);
    assert_eq!(files(&["--week", "2026-W30"]).len(), 3);
    assert_eq!(files(&["--week", "2026-W31"]).len(), 0);
    assert_eq!(files(&["--season", "2025"]).len(), 0);
    assert_eq!(files(&["--since", "2999-01-01"]).len(), 0);
    let text = workspace
        .run(&["submissions", "list"])
        .expect_code(0)
        .stdout;
    for piece in [
        "north: 1 submission\n",
        "2 received = 1 accepted + 1 duplicate + 0 held",
        "sender not known",
    ] {
        assert!(text.contains(piece), "{piece} in {text}");
    }
    let csv = workspace
        .run(&["submissions", "list", "--format", "csv"])
        .expect_code(0)
        .stdout;
    assert_eq!(csv.lines().count(), 4);
    assert!(csv.contains("north,"), "{csv}");
}

// --- Taking a submission back --------------------------------------------------------------------

#[test]
fn an_undo_shows_first_and_then_brings_new_revisions() {
    let workspace = TestWorkspace::of_region("us:46");
    load_from(&workspace, "north", "1.ndjson", &[visit(1)]);
    load_from(
        &workspace,
        "north",
        "2.ndjson",
        &[with_area(visit(1), 2, 50.0), visit(2)],
    );
    let second = load_of(&workspace, "2.ndjson");
    let before = workspace.rolled_up();
    let preview = undo(&workspace, &second, &[]).expect_code(0);
    assert!(preview.stderr.contains("--yes"), "{preview:?}");
    for piece in [
        "would take back",
        "v-1: revision 3 has the content of revision 1",
        "v-2: revision 2 withdraws it",
    ] {
        assert!(
            preview.stdout.contains(piece),
            "{piece} in {}",
            preview.stdout
        );
    }
    assert_eq!(workspace.rolled_up(), before);
    let done = undo(&workspace, &second[..30], &["--yes", "--format", "json"])
        .expect_code(0)
        .json();
    assert_eq!(done["changes"].as_array().unwrap().len(), 2);
    assert_eq!(
        current(&workspace),
        [
            ("v-1".to_owned(), 3, 62.4, false),
            ("v-2".to_owned(), 2, 62.4, true)
        ]
    );
    // The content is the earlier one to the last column, but for where it is from.
    let columns = "line, load_id, submission_sha256, revision, content_sha256";
    let rows = sql(
        &workspace,
        &format!(
            "select * exclude ({columns}) from visits where visit_id = 'v-1' order by revision"
        ),
    );
    assert_eq!(rows[0], rows[2]);
    assert_ne!(rows[0], rows[1]);
    let receipt = sql(
        &workspace,
        "select undoes, reason, who, received, accepted from receipts where undoes is not null",
    );
    assert_eq!(
        receipt[0],
        json!({"undoes": second, "reason": "wrong mapping", "who": "office", "received": 2, "accepted": 2})
    );
    workspace.run(&["store", "verify"]).expect_code(0);
    let twice = undo(&workspace, &second, &["--yes"]).expect_code(1);
    assert!(
        twice.stderr.contains("is undone already"),
        "{}",
        twice.stderr
    );

    // Back again, by the undo of the undo.
    let undo_load = done["undo"].as_str().unwrap().to_owned();
    undo(&workspace, &undo_load, &["--yes"]).expect_code(0);
    assert_eq!(
        current(&workspace),
        [
            ("v-1".to_owned(), 4, 50.0, false),
            ("v-2".to_owned(), 3, 62.4, false)
        ]
    );
    undo(&workspace, &undo_load, &["--yes"]).expect_code(1);
    assert_eq!(workspace.rolled_up(), before);
    workspace.run(&["store", "verify"]).expect_code(0);
}

#[test]
fn what_was_taken_back_can_be_corrected_and_loaded_again() {
    let workspace = TestWorkspace::of_region("us:46");
    let wrong = [with_area(visit(1), 1, 160.0), with_area(visit(2), 1, 160.0)];
    load_from(&workspace, "north", "sheet.ndjson", &wrong);
    undo(&workspace, &load_of(&workspace, "sheet.ndjson"), &["--yes"]).expect_code(0);
    let right = [with_area(visit(1), 1, 64.75), with_area(visit(2), 1, 64.75)];
    let account = load_from(&workspace, "north", "sheet.ndjson", &right);
    assert_eq!(counts(&account), received(2).accepted(2));
    let again = load_from(&workspace, "north", "sheet.ndjson", &right);
    assert_eq!(counts(&again), received(2).duplicate(2));
    let kept = sql(
        &workspace,
        "select revision, revision_sent from visits where visit_id = 'v-1' order by revision",
    );
    assert_eq!(kept[2], json!({"revision": 3, "revision_sent": 1}));
    // The scout's own next revision is still the second.
    let account = load_from(
        &workspace,
        "north",
        "next.ndjson",
        &[with_area(visit(1), 2, 65.0)],
    );
    assert_eq!(counts(&account), received(1).accepted(1));
    assert_eq!(current(&workspace)[0], ("v-1".to_owned(), 4, 65.0, false));
    workspace.run(&["store", "verify"]).expect_code(0);
}

#[test]
fn a_later_revision_stays_and_is_named() {
    let workspace = TestWorkspace::of_region("us:46");
    load_from(&workspace, "north", "1.ndjson", &[visit(1), visit(2)]);
    load_from(
        &workspace,
        "south",
        "2.ndjson",
        &[with_area(visit(1), 2, 50.0)],
    );
    let (first, second) = (
        load_of(&workspace, "1.ndjson"),
        load_of(&workspace, "2.ndjson"),
    );
    let text = undo(&workspace, &first, &["--yes"]).expect_code(0).stdout;
    assert!(text.contains("1 visit stays as it is"), "{text}");
    assert!(
        text.contains(&format!("v-1: revision 2 of load {second}")),
        "{text}"
    );
    assert_eq!(current(&workspace)[0], ("v-1".to_owned(), 2, 50.0, false));
    // Of two that are taken back nothing is left, in whichever order.
    undo(&workspace, &second, &["--yes"]).expect_code(0);
    assert!(current(&workspace).iter().all(|(.., withdrawn)| *withdrawn));
}

#[test]
fn held_records_of_a_load_are_closed_with_it_and_open_when_they_come_again() {
    let workspace = TestWorkspace::of_region("us:46");
    let mut wrong = visit(1);
    wrong["crop_stage"] = json!("R77");
    let file = [wrong, visit(2)];
    load_from(&workspace, "north", "1.ndjson", &file);
    assert_eq!(open(&workspace), 1);
    let first = load_of(&workspace, "1.ndjson");
    undo(&workspace, &first, &["--yes"]).expect_code(0);
    assert_eq!(open(&workspace), 0);
    let closed = sql(&workspace, "select how, reason, who from held_closed");
    assert_eq!(
        closed,
        [json!({"how": "undone", "reason": "wrong mapping", "who": "office"})]
    );
    let info = workspace.run(&["store", "info", "--format", "json"]).json();
    assert_eq!(
        (&info["held_undone"], &info["held_open"]),
        (&json!(1), &json!(0))
    );
    load_from(&workspace, "north", "1.ndjson", &file);
    assert_eq!(open(&workspace), 1);
    workspace.run(&["store", "verify"]).expect_code(0);
    // A correction that is taken back leaves open what it had closed.
    load_from(&workspace, "north", "right.ndjson", &[visit(1)]);
    assert_eq!(open(&workspace), 0);
    undo(&workspace, &load_of(&workspace, "right.ndjson"), &["--yes"]).expect_code(0);
    assert_eq!(open(&workspace), 1);
    workspace.run(&["store", "verify"]).expect_code(0);
}

#[test]
fn an_undo_that_means_nothing_is_refused() {
    let workspace = TestWorkspace::of_region("us:46");
    load_from(&workspace, "north", "1.ndjson", &[visit(1)]);
    load_from(&workspace, "north", "again.ndjson", &[visit(1)]);
    let again = undo(&workspace, &load_of(&workspace, "again.ndjson"), &["--yes"]).expect_code(1);
    assert!(
        again.stderr.contains("it brought nothing"),
        "{}",
        again.stderr
    );
    for unknown in ["0", "01234567", "01234567-0123-7123-8123-0123456789ab"] {
        let refused = undo(&workspace, unknown, &["--yes"]).expect_code(1);
        assert!(
            refused.stderr.contains("submissions list"),
            "{}",
            refused.stderr
        );
    }
    assert_eq!(sql(&workspace, "select load_id from receipts").len(), 2);
}

#[test]
fn a_store_of_an_older_program_reads_as_without_senders_and_takes_them() {
    let workspace = TestWorkspace::empty();
    let unpacked = std::process::Command::new("tar")
        .args(["xzf", "tests/older/first_round.tgz", "-C"])
        .arg(workspace.beside(""))
        .status();
    assert!(unpacked.expect("tar runs").success());
    std::fs::rename(workspace.beside("ws_old"), workspace.path()).unwrap();
    let before = listed(&workspace, &[]);
    assert!(!before.is_empty());
    assert!(before.iter().all(|load| load["sender"].is_null()));
    workspace.run(&["senders", "list"]).expect_code(0);
    workspace.run(&["held", "list"]).expect_code(0);
    workspace.rolled_up();
    let first = before[0]["load_id"].as_str().unwrap().to_owned();
    undo(&workspace, &first, &["--yes"]).expect_code(0);
    workspace.run(&["store", "verify"]).expect_code(0);
    workspace.run(&["store", "compact"]).expect_code(0);
    workspace.run(&["store", "verify"]).expect_code(0);
    assert_eq!(listed(&workspace, &[]).len(), before.len() + 1);
}
