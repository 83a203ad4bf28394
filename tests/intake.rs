//! Submissions in every form that a user may hand in, through the program as a user runs it. What is
//! wrong in a record is in `judges/hostile.rs`; which record is which, in `identity.rs`.

use std::io::Write;
use std::path::Path;
use std::process::Stdio;

use serde_json::json;

use crate::support::intake::{packed, visits};
use crate::support::{
    Run, TestWorkspace, counts, folder_bytes, full_visit, lines, program, received,
};

fn run_with_input(workspace: &TestWorkspace, arguments: &[&str], input: &[u8]) -> Run {
    let mut child = program()
        .args(["--workspace", &workspace.path().display().to_string()])
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    let mut stdin = child.stdin.take().expect("a pipe");
    stdin.write_all(input).expect("the program reads its input");
    drop(stdin);
    let output = child.wait_with_output().expect("the program ends");
    Run {
        code: output.status.code(),
        stdout: String::from_utf8_lossy(&output.stdout).into_owned(),
        stderr: String::from_utf8_lossy(&output.stderr).into_owned(),
    }
}

#[test]
fn packed_files_may_be_joined() {
    let workspace = TestWorkspace::of_region("us:46");
    let joined = [
        packed(lines(&visits("a", 2)).as_bytes()),
        packed(lines(&visits("b", 2)).as_bytes()),
    ]
    .concat();
    let account = workspace.load(&[&workspace.write("joined", joined)]);
    assert_eq!(counts(&account), received(4).accepted(4));
}

#[test]
fn standard_input_is_a_submission_like_any_other() {
    let workspace = TestWorkspace::of_region("us:46");
    let text = lines(&visits("a", 2));
    let run = run_with_input(
        &workspace,
        &["load", "-", "--format", "json"],
        text.as_bytes(),
    )
    .expect_code(0);
    assert_eq!(run.json()["submissions"][0]["file_name"], "-");
    assert_eq!(counts(&run.json()), received(2).accepted(2));
    let run = run_with_input(&workspace, &["load", "-"], &packed(text.as_bytes())).expect_code(0);
    assert_eq!(
        run.stdout,
        "loaded -: 2 received = 0 accepted + 2 duplicate + 0 held\n"
    );
    let run = run_with_input(&workspace, &["load", "-", "-"], text.as_bytes()).expect_code(1);
    assert!(
        run.stderr.contains("cannot read standard input twice"),
        "{run:#?}"
    );
}

#[test]
fn a_folder_is_its_files_by_name_and_what_is_passed_over_is_said() {
    let workspace = TestWorkspace::of_region("us:46");
    let inbox = workspace.beside("inbox");
    std::fs::create_dir_all(inbox.join("within")).unwrap();
    for (name, id) in [
        ("b.ndjson", "b"),
        ("a.json", "a"),
        (".hidden", "h"),
        ("within/c", "c"),
    ] {
        std::fs::write(inbox.join(name), full_visit(id).to_string()).unwrap();
    }
    let outside = workspace.write("outside", full_visit("o").to_string());
    std::os::unix::fs::symlink(&outside, inbox.join("link")).unwrap();
    fifo(&inbox.join("pipe"));
    let run = workspace
        .run(&["load", &inbox.display().to_string(), "--format", "json"])
        .expect_code(0);
    let account = run.json();
    let names: Vec<&str> = account["submissions"]
        .as_array()
        .unwrap()
        .iter()
        .map(|submission| submission["file_name"].as_str().unwrap())
        .collect();
    assert_eq!(names, ["a.json", "b.ndjson", "within/c"]);
    assert_eq!(counts(&account), received(3).accepted(3));
    assert_eq!(account["refused"], json!([]));
    let passed_over: Vec<&str> = account["passed_over"]
        .as_array()
        .unwrap()
        .iter()
        .map(|file| file["file_name"].as_str().unwrap())
        .collect();
    assert_eq!(passed_over, [".hidden", "link", "pipe"]);
}

fn fifo(path: &Path) {
    let made = std::process::Command::new("mkfifo").arg(path).status();
    assert!(made.expect("mkfifo is there").success());
}

#[test]
fn what_cannot_be_loaded_fails_and_changes_nothing() {
    let workspace = TestWorkspace::of_region("us:46");
    let good = workspace.write("good.ndjson", lines(&visits("good", 2)));
    let whole = packed(lines(&visits("cut", 500)).as_bytes());
    let cut = workspace.write("cut.gz", &whole[..whole.len() - 20]);
    let rotten = {
        let mut bytes = whole.clone();
        let middle = bytes.len() / 2;
        bytes[middle] ^= 0xff;
        workspace.write("rotten.gz", bytes)
    };
    let utf16: Vec<u8> = format!("\u{feff}{}", lines(&visits("wide", 2)))
        .encode_utf16()
        .flat_map(u16::to_le_bytes)
        .collect();
    let wide = workspace.write("wide.ndjson", utf16);
    let pipe = workspace.beside("pipe");
    fifo(&pipe);
    let empty = workspace.beside("empty");
    std::fs::create_dir(&empty).unwrap();
    let dangling = workspace.beside("dangling");
    std::os::unix::fs::symlink(workspace.beside("nowhere"), &dangling).unwrap();
    let before = folder_bytes(&workspace.path());
    for (path, words) in [
        (pipe.as_path(), "not a regular file"),
        (Path::new("/dev/zero"), "not a regular file"),
        (&empty, "no file in"),
        (&dangling, "dangling"),
        (&workspace.beside("missing"), "missing"),
    ] {
        let (good, path) = (good.display().to_string(), path.display().to_string());
        for command in ["load", "check"] {
            // Even a good file before it is not loaded: a wrong name is seen first.
            let run = workspace.run(&[command, &good, &path]).expect_code(1);
            assert!(
                run.stderr.starts_with("error: ") && run.stderr.contains(words),
                "{run:#?}"
            );
            assert_eq!(run.stdout, "", "{path}");
            assert_eq!(folder_bytes(&workspace.path()), before, "{command} {path}");
        }
    }
    for (path, words) in [
        (&cut, "is the file whole?"),
        (&rotten, "is the file whole?"),
        (&wide, "UTF-16"),
    ] {
        let (good, path) = (good.display().to_string(), path.display().to_string());
        for command in ["load", "check"] {
            let run = workspace.run(&[command, &path]).expect_code(1);
            assert!(
                run.stderr.starts_with("error: ") && run.stderr.contains(words),
                "{run:#?}"
            );
            assert_eq!(run.stdout, "", "{path}");
        }
        // With a good one it is refused alone.
        let run = workspace
            .run(&["check", &good, &path, "--format", "json"])
            .expect_code(3);
        assert_eq!(counts(&run.json()), received(2).accepted(2));
        let refused = &run.json()["refused"][0];
        assert!(refused.to_string().contains(words), "{refused}");
        assert_eq!(folder_bytes(&workspace.path()), before, "{path}");
    }
    workspace.run(&["load"]).expect_code(2);
    let link = workspace.beside("link");
    std::os::unix::fs::symlink(&good, &link).unwrap();
    assert_eq!(
        counts(&workspace.load(&[&link])),
        received(2).accepted(2),
        "a link that is named is followed"
    );
}

#[test]
fn check_stores_nothing_and_says_what_load_then_says() {
    let workspace = TestWorkspace::of_region("us:46");
    workspace.load_text("before", &lines(&[full_visit("known")]));
    let mut conflict = full_visit("known");
    conflict["crop_stage"] = json!("R2");
    let mut outside = full_visit("outside");
    outside["field"]["lon"] = json!(0);
    let first = lines(&[
        full_visit("known"),
        conflict,
        outside.clone(),
        full_visit("new"),
        full_visit("new"),
    ]);
    let paths = [
        workspace.write("first.ndjson", first + "{\n"),
        // What the first would bring is known to the second.
        workspace.write(
            "second.json",
            json!([full_visit("new"), outside, full_visit("other")]).to_string(),
        ),
    ]
    .map(|path| path.display().to_string());
    let before = folder_bytes(&workspace.path());
    for format in ["text", "json"] {
        let said = |command| {
            let run = workspace
                .run(&[command, "--format", format, &paths[0], &paths[1]])
                .expect_code(3);
            run.stdout.replace("checked ", "loaded ")
        };
        let checked = said("check");
        assert_eq!(folder_bytes(&workspace.path()), before);
        if format == "json" {
            assert_eq!(said("load"), checked);
        }
    }
    let text = workspace.run(&["check", &paths[0]]).expect_code(3).stdout;
    assert!(text.starts_with("checked first.ndjson: 6 received = 0 accepted + 3 duplicate + 3 held (3 of them held before)"), "{text}");
}
