//! Exit codes, messages, and what goes to stdout and stderr.

use std::process::{Command, Stdio};

use serde_json::Value;

use crate::support::cli::assert_message;
use crate::support::{TestWorkspace, bractline, lines, program, text_of, visit};

fn broken_visit() -> Value {
    let mut broken = visit("broken");
    broken["crop_stage"] = "bloom".into();
    broken
}

#[test]
fn the_exit_code_says_whether_it_is_done_failed_misused_or_done_with_held_records() {
    let workspace = TestWorkspace::of_region("us:46");
    let good = text_of(&workspace.write("good.ndjson", lines(&[visit("good")])));
    let mixed = text_of(&workspace.write("mixed.ndjson", lines(&[visit("one"), broken_visit()])));
    for (arguments, code) in [
        (vec!["check", &good], 0),
        (vec!["check", &mixed], 3),
        (vec!["load", &good], 0),
        (vec!["load", &mixed], 3),
        (vec!["load", &good, &mixed], 3),
        (vec!["load", "no-such-file.ndjson"], 1),
        (vec!["load"], 2),
        (vec!["load", &good, "--format", "yaml"], 2),
        (vec!["unload", &good], 2),
        (vec!["--nothing"], 2),
        (vec!["held"], 2),
        (vec!["held", "list"], 0),
        (vec!["store", "verify"], 0),
        (vec!["store", "info", "--format", "text"], 0),
        (vec!["protocols", "list"], 0),
        (vec!["protocols", "check"], 0),
        (vec!["protocols", "sql"], 0),
        (vec!["protocols", "show", "bsm-eggs"], 0),
        (vec!["protocols", "show", "no-such-protocol"], 1),
        (vec!["alert", "--week", "2026-W29"], 1),
        (
            vec![
                "alert",
                "--week",
                "2026-W30",
                "--protocol",
                "no-such-protocol",
            ],
            1,
        ),
        (
            vec![
                "rollup", "--week", "2026-W30", "--season", "2026", "--out", "x",
            ],
            2,
        ),
    ] {
        let run = workspace.run(&arguments);
        assert_eq!(run.code, Some(code), "{arguments:?}: {run:#?}");
        let failed = code == 1 || code == 2;
        assert_eq!(
            run.stdout.is_empty(),
            failed,
            "results alone go to stdout: {arguments:?}: {run:#?}"
        );
        assert_eq!(
            run.stderr.is_empty(),
            !failed,
            "and nothing else to stderr: {arguments:?}: {run:#?}"
        );
    }
    assert!(!workspace.path().join("x").exists());
}

#[test]
fn a_file_that_cannot_be_found_keeps_all_the_others_out() {
    let workspace = TestWorkspace::of_region("us:46");
    let good = text_of(&workspace.write("good.ndjson", lines(&[visit("good")])));
    workspace
        .run(&["load", &good, "no-such-file.ndjson"])
        .expect_code(1);
    let info = workspace
        .run(&["store", "info", "--format", "json"])
        .expect_code(0);
    assert_eq!(info.json()["received"], 0);
}

#[test]
fn json_reports_are_one_json_document_even_with_the_log_on() {
    let workspace = TestWorkspace::of_region("us:46");
    let mixed = text_of(&workspace.write("mixed.ndjson", lines(&[visit("one"), broken_visit()])));
    let load = workspace
        .run(&["-vv", "load", &mixed, "--format", "json"])
        .expect_code(3);
    assert!(
        load.stderr.contains("INFO"),
        "the log goes to stderr: {load:#?}"
    );
    let account = load.json();
    for (name, count) in [
        ("received", 2),
        ("accepted", 1),
        ("duplicate", 0),
        ("held", 1),
    ] {
        assert_eq!(account[name], count, "{name}");
        assert_eq!(
            account["submissions"][0][name], count,
            "{name} of the submission"
        );
    }
    assert_eq!(account["submissions"][0]["file_name"], "mixed.ndjson");
    let finding = &account["submissions"][0]["held_records"][0]["findings"][0];
    assert_eq!(
        (&finding["code"], &finding["pointer"]),
        (&"stage-unknown".into(), &"/crop_stage".into())
    );

    let checked = workspace.run(&["check", &mixed, "--format", "json"]).json();
    assert_eq!(
        (&checked["duplicate"], &checked["held"]),
        (&1.into(), &1.into())
    );
    let held = workspace
        .run(&["held", "list", "--all", "--format", "json"])
        .json();
    assert_eq!(held.as_array().map(Vec::len), Some(1));
    assert_eq!(held[0]["visit_id"], "broken");
    let info = workspace.run(&["store", "info", "--format", "json"]).json();
    assert_eq!((&info["accepted"], &info["held"]), (&1.into(), &1.into()));
    let verified = workspace
        .run(&["store", "verify", "--format", "json"])
        .json();
    assert_eq!(verified["problems"], Value::Array(Vec::new()));
}

#[test]
fn the_workspace_may_be_named_before_and_after_the_command_and_is_else_the_current_folder() {
    let workspace = TestWorkspace::of_region("us:46");
    let path = text_of(&workspace.path());
    let before = bractline(&["--workspace", &path, "store", "info"]).expect_code(0);
    for arguments in [
        ["store", "info", "--workspace", &path],
        ["store", "--workspace", &path, "info"],
    ] {
        assert_eq!(bractline(&arguments).expect_code(0).stdout, before.stdout);
    }
    let here = program()
        .current_dir(workspace.path())
        .args(["store", "info"])
        .output();
    assert_eq!(
        here.expect("the program starts").stdout,
        before.stdout.as_bytes()
    );
    let nowhere = bractline(&[
        "--workspace",
        &text_of(&workspace.beside("nowhere")),
        "store",
        "info",
    ]);
    assert_message(
        &nowhere.expect_code(1),
        &["is not a workspace", "bractline init"],
    );
}

#[test]
fn color_goes_to_a_terminal_alone_and_not_where_no_color_is_set() {
    // `script` (Debian: bsdutils) gives the program a terminal.
    let on_a_terminal = |no_color: &str| {
        let command = format!("{} --help", env!("CARGO_BIN_EXE_bractline"));
        let mut script = Command::new("script");
        script
            .args(["-qec", &command, "/dev/null"])
            .stdin(Stdio::null());
        script
            .env("NO_COLOR", no_color)
            .env("TERM", "xterm-256color");
        let output = script
            .output()
            .expect("script is there: apt-get install bsdutils");
        String::from_utf8_lossy(&output.stdout).into_owned()
    };
    let (colored, plain) = (on_a_terminal(""), on_a_terminal("1"));
    assert!(
        colored.contains("\u{1b}["),
        "a terminal gets style: {colored:?}"
    );
    assert!(plain.contains("Usage: bractline"), "{plain:?}");
    assert!(!plain.contains("\u{1b}["), "{plain:?}");
    let piped = bractline(&["--help"]).stdout;
    assert!(!piped.contains('\u{1b}'));
}

#[test]
fn a_reader_that_goes_away_is_no_failure() {
    let workspace = TestWorkspace::of_region("us:46");
    let path = text_of(&workspace.path());
    for arguments in [
        vec!["--help"],
        vec!["protocols", "show", "bsm-eggs"],
        vec!["protocols", "check"],
        vec!["--workspace", &path, "store", "info"],
        vec!["--workspace", &path, "held", "list", "--format", "json"],
    ] {
        // A pipe that nobody reads any more: what `| head -0` comes to.
        let (reader, writer) = std::io::pipe().expect("a pipe");
        drop(reader);
        let child = program()
            .args(&arguments)
            .stdout(writer)
            .stderr(Stdio::piped())
            .spawn();
        let output = child
            .and_then(|child| child.wait_with_output())
            .expect("it runs");
        assert_eq!(output.status.code(), Some(0), "{arguments:?}: {output:?}");
        assert!(output.stderr.is_empty(), "{arguments:?}: {output:?}");
    }
}

#[test]
fn a_failure_says_what_where_and_how_to_mend_it() {
    let workspace = TestWorkspace::of_region("us:46");
    let run = |arguments: &[&str]| workspace.run(arguments).expect_code(1);
    assert_message(
        &run(&["load", "no-such-file.ndjson"]),
        &["cannot read no-such-file.ndjson"],
    );
    assert_message(
        &run(&["protocols", "show", "x"]),
        &["no protocol \"x\"", "bsm-eggs"],
    );
    let empty = workspace.beside("empty");
    std::fs::create_dir(&empty).expect("a folder");
    assert_message(&run(&["load", &text_of(&empty)]), &["no file in"]);
    let utf16 = workspace.write("utf16.json", b"\xff\xfe{\0}\0");
    assert_message(
        &run(&["load", &text_of(&utf16)]),
        &["UTF-16", "utf16.json", "UTF-8"],
    );
    let out = workspace.write("taken", "a file");
    let run = workspace
        .run(&["rollup", "--out", &text_of(&out.join("figures"))])
        .expect_code(1);
    assert!(
        run.stderr.starts_with("error: cannot make folder"),
        "{run:#?}"
    );
}

#[test]
fn amounts_in_another_currency_are_flagged_and_a_slip_of_the_pen_among_them_is_held() {
    // Without a bound one such record would stop every roll-up: its pressure has 200 digits.
    let workspace = TestWorkspace::of_region("us:46");
    let in_euros = |visit_id: &str, cost: f64| {
        let mut visit = visit(visit_id);
        for amount in ["treatment_cost", "market_value"] {
            visit["economics"][amount]["currency"] = "EUR".into();
        }
        visit["economics"]["treatment_cost"]["amount"] = cost.into();
        visit
    };
    let account = workspace.load_text(
        "euros.ndjson",
        &lines(&[
            in_euros("usual", 8.0),
            in_euros("slip", 1e-200),
            in_euros("other-slip", 1e9),
        ]),
    );
    assert_eq!(
        (&account["accepted"], &account["held"]),
        (&1.into(), &2.into())
    );
    assert_eq!(account["submissions"][0]["flags"]["currency-unchecked"], 1);
    for held in account["submissions"][0]["held_records"]
        .as_array()
        .expect("held records")
    {
        assert_eq!(
            held["findings"][0]["code"], "cost-to-value-implausible",
            "{held}"
        );
    }
    let out = text_of(&workspace.beside("figures"));
    workspace.run(&["rollup", "--out", &out]).expect_code(0);
}
