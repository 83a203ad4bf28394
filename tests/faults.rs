//! Faults of the ground: limits of the system, clocks, odd files, closed streams, tables of a newer kind. Each ends
//! with a clear word, and the store is as before or wholly after.

use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::{Duration, SystemTime};

use crate::support::care::{submission, with_an_alert};
use crate::support::{TestWorkspace, bractline, contents, counts, program, received};

/// The program under a limit of the system.
fn limited(workspace: &TestWorkspace, limit: &str, arguments: &[&str]) -> Output {
    Command::new("prlimit")
        .arg(limit)
        .arg(program().get_program())
        .arg("--workspace")
        .arg(workspace.path())
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .stdin(Stdio::null())
        .output()
        .expect("prlimit is part of the system")
}

#[test]
fn limits_of_the_system_break_nothing() {
    let workspace = with_an_alert();
    let next = workspace.write("next", submission(100..140));
    let next = next.display().to_string();
    let before = workspace.rolled_up();
    let undisturbed = with_an_alert();
    undisturbed.load(&[Path::new(&next)]);
    let after = undisturbed.rolled_up();
    let mut in_already = false;
    for limit in [
        "--fsize=1000",
        "--fsize=8000",
        "--nofile=8",
        "--nofile=12",
        "--nofile=16",
    ] {
        let output = limited(&workspace, limit, &["load", &next]);
        workspace.run(&["store", "verify"]).expect_code(0);
        let figures = workspace.rolled_up();
        assert!(figures == before || figures == after, "{limit}");
        in_already |= figures == after;
        // How many files are open at once depends on the moment. A limit may bite after the receipt has its
        // name, when folders are synced: the load is reported as failed and counts. Never is it the other way.
        // A file that would grow too long ends the program by a signal, like a kill.
        match output.status.code() {
            Some(3) => assert!(figures == after, "{limit}: {output:?}"),
            Some(1 | 101) | None => assert_eq!(output.stdout, b"", "{limit}"),
            _ => panic!("{limit}: {output:?}"),
        }
        let too_small = matches!(limit, "--fsize=1000" | "--nofile=8");
        assert!(!too_small || !in_already, "{limit} did not bite");
    }
    let account = workspace.load(&[Path::new(&next)]);
    let expected = if in_already {
        received(41).duplicate(40).held(1)
    } else {
        received(41).accepted(40).held(1)
    };
    assert_eq!(counts(&account), expected);
    assert!(workspace.rolled_up() == after);
    workspace.run(&["store", "verify"]).expect_code(0);
}

#[test]
fn a_clock_that_was_set_back_or_forward_takes_no_file_that_counts() {
    let workspace = with_an_alert();
    let store = workspace.path().join("store");
    let left = store.join("visits/season=2026/part-left.parquet");
    std::fs::write(&left, "x").unwrap();
    let set = |path: &Path, moment: SystemTime| {
        let file = std::fs::File::options().append(true).open(path).unwrap();
        file.set_modified(moment).unwrap();
    };
    let year = Duration::from_secs(400 * 86_400);
    let figures = workspace.rolled_up();
    // Written when the clock was ahead: too young, whatever the limit.
    set(&left, SystemTime::now() + year);
    workspace
        .run(&["store", "vacuum", "--older-than", "0", "--alone"])
        .expect_code(0);
    assert!(left.exists());
    // Everything looks old: what no version names goes, all else stays.
    for path in contents(&workspace.path()).keys() {
        set(path, SystemTime::now() - year);
    }
    workspace.run(&["store", "compact"]).expect_code(0);
    workspace
        .run(&["store", "vacuum", "--older-than", "1"])
        .expect_code(0);
    assert!(!left.exists());
    assert!(workspace.rolled_up() == figures);
    // Files that compact replaced a moment ago stay for their readers, however old they look.
    let visits = contents(&store.join("visits/season=2026"));
    assert_eq!(visits.len(), 7);
    workspace.run(&["alert", "--as-issued", "1"]).expect_code(0);
    workspace.run(&["store", "verify"]).expect_code(0);
}

#[cfg(unix)]
#[test]
fn links_pipes_and_folders_in_an_inbox_are_passed_over_and_named() {
    let workspace = TestWorkspace::of_region("us:46");
    let inbox = workspace.beside("inbox");
    std::fs::create_dir_all(inbox.join("folder")).unwrap();
    std::fs::write(inbox.join("good.ndjson"), submission(0..2)).unwrap();
    let outside = workspace.write("outside.ndjson", submission(5..7));
    std::os::unix::fs::symlink(&outside, inbox.join("link.ndjson")).unwrap();
    std::os::unix::fs::symlink("/etc/passwd", inbox.join("passwd")).unwrap();
    std::os::unix::fs::symlink("/dev/zero", inbox.join("zero")).unwrap();
    let made = Command::new("mkfifo")
        .arg(inbox.join("pipe"))
        .status()
        .unwrap();
    assert!(made.success());
    let run = workspace.run(&["load", "--format", "json", &inbox.display().to_string()]);
    let run = run.expect_code(3);
    let account = run.json();
    assert_eq!(counts(&account), received(3).accepted(2).held(1));
    let passed_over = account["passed_over"].to_string();
    for name in ["link.ndjson", "passwd", "zero", "pipe"] {
        assert!(passed_over.contains(name), "{name}: {passed_over}");
    }
    // Named by itself a pipe nobody writes to would be waited for without an end: it is refused instead.
    for name in ["pipe", "zero"] {
        let named = inbox.join(name).display().to_string();
        for command in ["load", "check"] {
            let run = workspace.run(&[command, &named]).expect_code(1);
            assert!(run.stderr.contains("not a regular file"), "{run:?}");
            assert!(run.stderr.contains("- for standard input"), "{run:?}");
        }
    }
}

#[cfg(unix)]
#[test]
fn closed_or_full_streams_lose_nothing() {
    let workspace = TestWorkspace::of_region("us:46");
    let numbers = [0..2, 2..4, 4..6, 6..8];
    let streams = [">&-", "2>&-", ">/dev/full", ">&- 2>&- <&-"];
    for (numbers, streams) in numbers.into_iter().zip(streams) {
        let file = workspace.write(&format!("{}", numbers.start), submission(numbers.clone()));
        let output = Command::new("sh")
            .args([
                "-c",
                &format!("exec \"$0\" --workspace \"$1\" load \"$2\" {streams}"),
            ])
            .arg(program().get_program())
            .args([workspace.path(), file.clone()])
            .output()
            .unwrap();
        // A report that cannot be written is a failure; what was loaded stays loaded, and that is said.
        assert!(
            matches!(output.status.code(), Some(1 | 3)),
            "{streams}: {output:?}"
        );
        if streams == ">/dev/full" {
            let words = String::from_utf8_lossy(&output.stderr);
            assert_eq!(output.status.code(), Some(1), "{words}");
            assert!(words.contains("a load is stored"), "{words}");
        }
        assert_eq!(
            counts(&workspace.load(&[&file])),
            received(3).duplicate(2).held(1),
            "{streams}"
        );
    }
    workspace.run(&["store", "verify"]).expect_code(0);
}

#[test]
fn a_table_of_a_newer_kind_is_refused_by_the_name_of_what_is_new() {
    let workspace = with_an_alert();
    let log = workspace.path().join("store/visits/_delta_log");
    let protocol = r#"{"protocol":{"minReaderVersion":3,"minWriterVersion":7,"readerFeatures":["unheardOf"],"writerFeatures":["unheardOf"]}}"#;
    std::fs::write(log.join("00000000000000000007.json"), protocol).unwrap();
    let next = workspace.write("next", submission(100..104));
    let before = contents(&workspace.path());
    for arguments in [
        vec!["load", next.to_str().unwrap()],
        vec!["store", "compact"],
        vec!["store", "vacuum", "--older-than", "0", "--alone"],
        vec!["sql", "select count(*) from visits"],
    ] {
        let run = workspace.run(&arguments).expect_code(1);
        assert!(run.stderr.contains("unheardOf"), "{arguments:?}: {run:?}");
    }
    let run = workspace.run(&["store", "verify"]).expect_code(1);
    assert!(run.stdout.contains("unheardOf"), "{run:?}");
    assert!(contents(&workspace.path()) == before);
}

#[test]
fn a_store_that_is_gone_is_told() {
    let workspace = with_an_alert();
    std::fs::remove_dir_all(workspace.path().join("store/units")).unwrap();
    for arguments in [
        &["store", "verify"][..],
        &["rollup", "--out", "/nonexistent/x"],
        &["store", "vacuum"],
    ] {
        let run = workspace.run(arguments).expect_code(1);
        let said = run.stdout + &run.stderr;
        assert!(said.contains("units"), "{arguments:?}: {said}");
    }
    let gone = workspace.beside("nowhere").display().to_string();
    bractline(&["--workspace", &gone, "store", "verify"]).expect_code(1);
}
