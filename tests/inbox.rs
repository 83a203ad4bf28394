//! A folder as offices keep it: many senders, mappings next to their sheets, junk, broken files, an archive and a mail.

use std::collections::BTreeMap;

use serde_json::Value;

use crate::support::inbox::{mail, write_inbox, zipped};
use crate::support::intake::visits;
use crate::support::{
    Counts, TestWorkspace, assert_adds_up, counts, folder_bytes, lines, received, text_of,
};

fn by_name(account: &Value) -> BTreeMap<String, Counts> {
    let submissions = account["submissions"].as_array().expect("submissions");
    let named = submissions.iter().map(|of| (name_of(of), counts(of)));
    named.collect()
}

fn name_of(file: &Value) -> String {
    file["file_name"].as_str().expect("a name").to_owned()
}

fn names(files: &Value) -> Vec<String> {
    files
        .as_array()
        .expect("a list")
        .iter()
        .map(name_of)
        .collect()
}

fn summed(truth: &BTreeMap<String, Counts>) -> Counts {
    let sum = |of: fn(&Counts) -> u64| truth.values().map(of).sum();
    Counts {
        received: sum(|counts| counts.received),
        accepted: sum(|counts| counts.accepted),
        duplicate: sum(|counts| counts.duplicate),
        held: sum(|counts| counts.held),
    }
}

#[test]
fn an_inbox_of_forty_senders_is_one_command() {
    let workspace = TestWorkspace::of_region("us:46");
    let folder = workspace.beside("inbox");
    let inbox = write_inbox(&folder);
    assert_eq!(inbox.truth.len(), 300);
    assert_eq!((inbox.junk.len(), inbox.broken.len()), (20, 6));
    let before = folder_bytes(&folder);
    let path = text_of(&folder);
    let store = folder_bytes(&workspace.path());
    let checked = workspace
        .run(&["check", &path, "--format", "json"])
        .expect_code(3)
        .json();
    assert_eq!(folder_bytes(&workspace.path()), store);
    let loaded = workspace
        .run(&["load", &path, "--format", "json"])
        .expect_code(3)
        .json();
    for account in [&checked, &loaded] {
        assert_adds_up(account);
        let said = by_name(account);
        for (name, expected) in &inbox.truth {
            assert_eq!(said.get(name), Some(expected), "{name}");
        }
        assert_eq!(said.len(), 300);
        assert_eq!(counts(account), summed(&inbox.truth));
        let mut refused = names(&account["refused"]);
        refused.sort();
        let mut broken = inbox.broken.clone();
        broken.sort();
        assert_eq!(refused, broken);
        let mut passed_over = names(&account["passed_over"]);
        // The mappings, and the text of the mail.
        passed_over.retain(|name| !inbox.junk.contains(name));
        assert_eq!(passed_over.len(), 13, "{passed_over:?}");
    }
    // Once more: nothing is new. What is loaded again is one sender's folder, since each file takes a commit of its own.
    let again = workspace
        .run(&["check", &path, "--format", "json"])
        .expect_code(3)
        .json();
    let sum = summed(&inbox.truth);
    assert_eq!(
        counts(&again),
        received(sum.received)
            .duplicate(sum.accepted + sum.duplicate)
            .held(sum.held)
    );
    assert_eq!(again["held_before"], again["held"]);
    let sender = text_of(&folder.join("s20"));
    let again = workspace.run(&["load", &sender, "--format", "json"]).json();
    assert_eq!(
        (counts(&again).accepted, &again["held_before"]),
        (0, &again["held"])
    );
    assert_eq!(folder_bytes(&folder), before, "nothing is moved or deleted");
}

const HEADER: &str = "Id,Field,Date,Lon,Lat,Area,Price,Eggs\n";

fn row(id: &str) -> String {
    format!("{id},F-{id},2026-07-21,-100.1,44.1,62.4,0.16,3\n")
}

/// The mapping of the tests, for one number a head under a protocol that takes it.
fn mapping(id_header: &str) -> String {
    crate::support::mapping::BASE
        .replace("name = \"Id\"", &format!("name = {id_header:?}"))
        .replace(
            "name = \"Eggs\"\n",
            "namePattern = '^S(?<site>[0-9]+)H(?<head>[0-9]+)B(?<bract>[0-9]+)$'\n",
        )
}

fn sheet(id_header: &str, id: &str) -> String {
    let eggs = "S1H1B1,S1H1B2,S1H1B3,S1H1B4,S1H1B5,S1H1B6";
    let header = HEADER.replace("Id", id_header).replace("Eggs", eggs);
    header + &row(id).replace(",3\n", ",0,1,0,2,0,0\n")
}

fn put(workspace: &TestWorkspace, place: &str, content: impl AsRef<[u8]>) {
    let path = workspace.beside(place);
    std::fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
    std::fs::write(path, content).expect("a file");
}

fn check(workspace: &TestWorkspace, more: &[&str], code: i32) -> Value {
    let inbox = text_of(&workspace.beside("inbox"));
    let arguments = [&["check", inbox.as_str(), "--format", "json"], more].concat();
    workspace.run(&arguments).expect_code(code).json()
}

#[test]
fn the_nearest_mapping_is_taken_and_of_several_the_one_that_fits() {
    let workspace = TestWorkspace::of_region("us:46");
    put(&workspace, "inbox/all.toml", mapping("Id"));
    put(&workspace, "inbox/a.csv", sheet("Id", "a"));
    put(&workspace, "inbox/north/b.csv", sheet("Id", "b"));
    put(&workspace, "inbox/south/own.toml", mapping("Number"));
    put(&workspace, "inbox/south/c.csv", sheet("Number", "c"));
    put(&workspace, "inbox/both/one.toml", mapping("One"));
    put(&workspace, "inbox/both/two.toml", mapping("Two"));
    put(&workspace, "inbox/both/d.csv", sheet("Two", "d"));
    let account = check(&workspace, &[], 0);
    assert_eq!(counts(&account), received(4).accepted(4), "{account:#}");
    assert_eq!(
        names(&account["passed_over"]),
        [
            "all.toml",
            "both/one.toml",
            "both/two.toml",
            "south/own.toml"
        ]
    );
    // None fits, two fit, and one that cannot be read: each with the reason of every mapping.
    put(&workspace, "inbox/both/e.csv", sheet("Three", "e"));
    put(&workspace, "inbox/twice/one.toml", mapping("Id"));
    put(&workspace, "inbox/twice/two.toml", mapping("Id"));
    put(&workspace, "inbox/twice/f.csv", sheet("Id", "f"));
    put(
        &workspace,
        "inbox/wrong/m.toml",
        mapping("Id").replace("rowIs", "rowAre"),
    );
    put(&workspace, "inbox/wrong/g.csv", sheet("Id", "g"));
    let account = check(&workspace, &[], 3);
    assert_eq!(counts(&account), received(4).accepted(4));
    let refused = account["refused"].as_array().expect("a list");
    for (name, says) in [
        (
            "both/e.csv",
            &[
                "none of the 2 mappings",
                "both/one.toml: there is no column for /visit_id",
                "both/two.toml: ",
            ][..],
        ),
        (
            "twice/f.csv",
            &[
                "more than one mapping",
                "twice/one.toml fits; twice/two.toml fits",
            ],
        ),
        ("wrong/m.toml", &["rowAre"]),
        (
            "wrong/g.csv",
            &["the mapping in its folder cannot be used", "wrong/m.toml"],
        ),
    ] {
        let of = refused.iter().find(|of| name_of(of) == name);
        let text = of
            .unwrap_or_else(|| panic!("{name}: {account:#}"))
            .to_string();
        for part in says {
            assert!(text.contains(part), "no {part:?} in {text}");
        }
    }
    // A mapping that is named is for every table.
    let named = workspace.write("named.toml", mapping("Id"));
    let account = check(&workspace, &["--mapping", &text_of(&named)], 3);
    assert_eq!(counts(&account), received(4).accepted(4));
}

#[test]
fn archives_and_mails_are_opened_one_level_deep() {
    let workspace = TestWorkspace::of_region("us:46");
    let record = lines(&visits("z", 2));
    let inner = zipped(&[("deep/a.ndjson", record.as_bytes())]);
    put(
        &workspace,
        "inbox/a.eml",
        mail(&[("a.zip", &inner), ("photo.jpg", b"\xff\xd8\xff\xe0")]),
    );
    put(
        &workspace,
        "inbox/b.zip",
        zipped(&[
            ("m.toml", mapping("Id").as_bytes()),
            ("in/b.csv", sheet("Id", "b").as_bytes()),
            ("a.zip", &inner),
            ("../out.csv", b"a,b\n1,2\n"),
            ("__MACOSX/._b.csv", b"\x00\x05\x16\x07"),
        ]),
    );
    put(
        &workspace,
        "inbox/c.eml",
        "From: a@example.org\r\nSubject: x\r\n\r\nField A, 3 eggs\r\n",
    );
    let account = check(&workspace, &[], 3);
    let said = by_name(&account);
    assert_eq!(said["a.eml/a.zip/deep/a.ndjson"], received(2).accepted(2));
    assert_eq!(said["b.zip/in/b.csv"], received(1).accepted(1));
    assert_eq!(
        names(&account["refused"]),
        ["b.zip/a.zip", "b.zip/../out.csv", "c.eml"]
    );
    assert_eq!(
        names(&account["passed_over"]),
        [
            "a.eml/part 1",
            "a.eml/photo.jpg",
            "b.zip/m.toml",
            "b.zip/__MACOSX/._b.csv"
        ]
    );
    assert!(!workspace.beside("out.csv").exists());
    // The person who wrote the mail is in no account and in no file of the store.
    let load = workspace.run(&[
        "load",
        &text_of(&workspace.beside("inbox/a.eml")),
        "--format",
        "json",
    ]);
    assert!(!load.expect_code(0).stdout.contains("person@example.org"));
    for (name, bytes) in folder_bytes(&workspace.path()) {
        assert!(
            !String::from_utf8_lossy(&bytes).contains("person@example.org"),
            "{name}"
        );
    }
}

#[test]
fn what_was_named_and_is_no_submission_is_an_error_in_words() {
    let workspace = TestWorkspace::of_region("us:46");
    let mapping = text_of(&workspace.write("m.toml", mapping("Id")));
    for (name, content, says) in [
        (
            "notes.txt",
            "Dear all,\nthese are the counts.\n",
            "it is a text",
        ),
        ("m2.toml", "mapping = \"1\"\n", "cannot read the mapping"),
        ("other.toml", "a = 1\n", "TOML that is no mapping"),
        ("scan.pdf", "%PDF-1.7\n", "it is a PDF"),
        (
            "lines.dat",
            "a word\nand another\nand one more\n",
            "neither records",
        ),
        ("header.csv", "Field,Eggs\n", "no row below its header"),
        (
            "page.xls",
            "<html><body><table></table></body></html>",
            "save it as XLSX or CSV",
        ),
    ] {
        let path = text_of(&workspace.write(name, content));
        let run = workspace.run(&["load", &path]).expect_code(1);
        assert!(
            run.stderr.starts_with("error: ") && run.stderr.contains(says),
            "{run:#?}"
        );
        assert_eq!(run.stdout, "");
        if !matches!(name, "m2.toml" | "other.toml" | "notes.txt" | "scan.pdf") {
            let run = workspace
                .run(&["load", &path, "--mapping", &mapping])
                .expect_code(1);
            assert!(run.stderr.starts_with("error: "), "{run:#?}");
        }
    }
    let run = workspace.run(&["load", &mapping]).expect_code(1);
    assert!(run.stderr.contains("--mapping"), "{run:#?}");
    // All of several fail: the account names each.
    let (one, other) = (workspace.beside("scan.pdf"), workspace.beside("lines.dat"));
    let run = workspace
        .run(&["load", &text_of(&one), &text_of(&other)])
        .expect_code(1);
    assert!(
        run.stdout.contains("refused scan.pdf") && run.stdout.contains("refused lines.dat"),
        "{run:#?}"
    );
    assert!(
        run.stderr.contains("none of 2 files could be loaded"),
        "{run:#?}"
    );
}

#[test]
fn two_times_of_submission_never_disagree_in_silence() {
    let workspace = TestWorkspace::of_region("us:46");
    let sheet = text_of(&workspace.write("a.csv", sheet("Id", "a")));
    let fixed = text_of(&workspace.write("fixed.toml", mapping("Id")));
    let constant = "\"/submitted_at\" = \"2026-07-23T12:00:00Z\"\n";
    let open = text_of(&workspace.write("open.toml", mapping("Id").replace(constant, "")));
    let early = text_of(&workspace.write(
        "early.toml",
        mapping("Id").replace("2026-07-23T12:00:00Z", "2026-07-20T12:00:00Z"),
    ));
    let check = |mapping: &str, given: &[&str]| {
        workspace.run(&[&["check", sheet.as_str(), "--mapping", mapping], given].concat())
    };
    check(&fixed, &["--submitted-at", "2026-07-23T12:00:00Z"]).expect_code(0);
    check(&open, &["--submitted-at", "2026-07-21"]).expect_code(0);
    let run = check(&fixed, &["--submitted-at", "2026-08-20"]).expect_code(1);
    for part in [
        "--submitted-at says 2026-08-20T23:59:59Z",
        "2026-07-23T12:00:00Z",
        "fixed.toml, [constant]",
    ] {
        assert!(run.stderr.contains(part), "{run:#?}");
    }
    let run = check(&open, &["--submitted-at", "yesterday"]).expect_code(1);
    assert!(
        run.stderr.contains("write the day, as 2026-07-21"),
        "{run:#?}"
    );
    for (mapping, given, says) in [
        (
            &early,
            &[][..],
            "[constant] of early.toml says when all records were submitted",
        ),
        (
            &open,
            &["--submitted-at", "2026-07-20"],
            "--submitted-at says when all records",
        ),
    ] {
        let run = check(mapping, given).expect_code(3);
        assert!(
            run.stdout.contains("date-after-submission") && run.stdout.contains(says),
            "{run:#?}"
        );
    }
    let run = workspace
        .run(&["check", &sheet, "--submitted-at", "2026-07-21"])
        .expect_code(1);
    assert!(run.stderr.contains("there is none"), "{run:#?}");
}
