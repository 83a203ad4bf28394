//! The program as a person meets it: help, exit codes, what goes to stdout and what to stderr, messages,
//! and what it makes of an empty store. The demo is in `demo.rs`.

use std::path::Path;
use std::process::{Command, Stdio};

use serde_json::Value;

use crate::support::cli::assert_message;
use crate::support::generated::text_of;
use crate::support::{Run, TestWorkspace, bractline, contents, lines, program, visit};

// --- Help ----------------------------------------------------------------------------------------

/// Every command, as the words that are typed, found by walking the help.
fn commands() -> Vec<Vec<String>> {
    let mut found = vec![Vec::new()];
    let mut next = 0;
    while next < found.len() {
        let command: Vec<String> = found[next].clone();
        let help = help_of(&command).stdout;
        let listed = help
            .lines()
            .skip_while(|line| *line != "Commands:")
            .skip(1)
            .take_while(|line| line.starts_with("  "));
        for line in listed {
            let name = line.split_whitespace().next().expect("a command's name");
            found.push([command.clone(), vec![name.to_owned()]].concat());
        }
        next += 1;
    }
    found
}

fn help_of(command: &[String]) -> Run {
    let mut arguments: Vec<&str> = command.iter().map(String::as_str).collect();
    arguments.push("--help");
    bractline(&arguments).expect_code(0)
}

#[test]
fn every_command_has_help_with_an_example_that_names_it() {
    let commands = commands();
    assert!(commands.len() >= 15, "{commands:?}");
    for command in commands {
        let run = help_of(&command);
        assert_eq!(run.stderr, "", "help goes to stdout");
        let words = format!("bractline {}", command.join(" "));
        let has_subcommands = run.stdout.contains("\nCommands:\n");
        let example = run
            .stdout
            .lines()
            .any(|line| line.starts_with("  ") && line.contains(words.trim_end()));
        assert!(
            has_subcommands || example,
            "no example of {words}:\n{}",
            run.stdout
        );
        assert!(
            run.stdout.contains("--workspace"),
            "{words} takes the global option"
        );
    }
}

#[test]
fn the_help_of_the_program_says_where_to_begin() {
    let help = help_of(&[]).stdout;
    for part in [
        "Begin with:",
        "bractline demo",
        "bractline init DIR --region us:46",
    ] {
        assert!(help.contains(part), "no {part:?} in:\n{help}");
    }
    let version = bractline(&["--version"]).expect_code(0);
    assert_eq!(
        version.stdout,
        concat!("bractline ", env!("CARGO_PKG_VERSION"), "\n")
    );
}

// --- Exit codes, and what goes where -------------------------------------------------------------

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
fn colour_goes_to_a_terminal_alone_and_not_where_no_color_is_set() {
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
    let (coloured, plain) = (on_a_terminal(""), on_a_terminal("1"));
    assert!(
        coloured.contains("\u{1b}["),
        "a terminal gets style: {coloured:?}"
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
fn a_week_that_does_not_exist_is_refused_with_a_clear_text() {
    let workspace = TestWorkspace::of_region("us:46");
    for (week, says) in [
        ("2026-W54", "does not exist: 2026 has no week 54"),
        ("2025-W53", "does not exist: 2025 has no week 53"),
        ("2026-W00", "does not exist: 2026 has no week 0"),
        ("9999-W52", "does not exist"),
        ("2026-30", "is not an ISO week: write it as 2026-W30"),
        ("2026-w30", "write it as 2026-W30"),
        ("2026-W3", "write it as 2026-W30"),
        ("2026-W+3", "write it as 2026-W30"),
        ("+026-W30", "write it as 2026-W30"),
        ("-026-W30", "write it as 2026-W30"),
        ("30", "write it as 2026-W30"),
        ("", "write it as 2026-W30"),
    ] {
        let week = format!("--week={week}");
        for arguments in [vec!["alert", &week], vec!["rollup", &week, "--out", "x"]] {
            let run = workspace.run(&arguments).expect_code(2);
            assert!(run.stderr.contains(says), "{week}: {run:#?}");
        }
    }
}

#[test]
fn settings_that_cannot_be_are_refused_and_named() {
    let workspace = TestWorkspace::of_region("us:46");
    let settings = workspace.path().join("bractline.toml");
    let good = std::fs::read_to_string(&settings).expect("init writes the settings");
    for (from, to, says) in [
        (
            "first_day =",
            "frist_day =",
            vec!["line 26", "frist_day", "first_day"],
        ),
        ("[office]", "[offise]", vec!["offise", "office"]),
        (
            "min_fields = 3",
            "min_fields = 2",
            vec!["min_fields", "3 or more"],
        ),
        ("min_fields = 3", "min_fields = -1", vec!["-1"]),
        ("min_fields = 3", "min_fields = \"3\"", vec!["string"]),
        (
            "min_farms = 3",
            "min_farms = 0",
            vec!["min_farms", "3 or more"],
        ),
        (
            "point_grid_km = 10.0",
            "point_grid_km = 0.0",
            vec!["point_grid_km"],
        ),
        (
            "point_grid_km = 10.0",
            "point_grid_km = nan",
            vec!["point_grid_km"],
        ),
        (
            "point_grid_km = 10.0",
            "point_grid_km = 2.5",
            vec![
                "[disclosure] point_grid_km = 2.5",
                "bractline.toml",
                "5, 10, 20 or 40",
            ],
        ),
        (
            "point_grid_km = 10.0",
            "point_grid_km = 80",
            vec!["point_grid_km = 80", "5, 10, 20 or 40"],
        ),
        (
            "point_grid_km = 10.0",
            "point_grid_km = 12.0",
            vec!["point_grid_km = 12", "5, 10, 20 or 40"],
        ),
        (
            "\"06-01\"",
            "\"02-30\"",
            vec!["first_day", "02-30", "06-01"],
        ),
        ("\"06-01\"", "\"13-01\"", vec!["first_day", "13-01"]),
        ("\"09-30\"", "\"9-30\"", vec!["last_day", "9-30"]),
        (
            "\"09-30\"",
            "\"30 September\"",
            vec!["last_day", "30 September"],
        ),
        (
            "boundaries = \"us:46\"",
            "boundaries = \"us:99\"",
            vec!["99", "46 South Dakota"],
        ),
        (
            "boundaries = \"us:46\"",
            "boundaries = \"counties.geojson\"",
            vec!["counties.geojson"],
        ),
        ("[region]", "[region", vec!["line 3"]),
    ] {
        assert_eq!(good.matches(from).count(), 1, "{from}");
        std::fs::write(&settings, good.replace(from, to)).expect("new settings");
        let submission = workspace.write("one.ndjson", lines(&[visit("one")]));
        let run = workspace
            .run(&["load", &text_of(&submission)])
            .expect_code(1);
        assert_message(&run, &says);
    }
    std::fs::write(&settings, &good).expect("the settings");
    let info = workspace
        .run(&["store", "info", "--format", "json"])
        .expect_code(0);
    assert_eq!(info.json()["received"], 0, "nothing was loaded meanwhile");
}

#[test]
fn init_writes_every_setting_with_its_default_and_a_comment() {
    let workspace = TestWorkspace::of_region("us:46");
    let text = std::fs::read_to_string(workspace.path().join("bractline.toml")).expect("settings");
    for setting in [
        "boundaries = \"us:46\"",
        "first_day = \"06-01\"",
        "last_day = \"09-30\"",
        "min_fields = 3",
        "min_farms = 3",
        "min_fields_without_farms = 5",
        "level = \"survey\"",
        "district_property = \"\"",
        "point_grid_km = 10.0",
        "name = \"\"",
        "contact = \"\"",
    ] {
        assert!(text.contains(setting), "no {setting} in:\n{text}");
    }
    for section in text.split("\n[").skip(1) {
        assert!(
            section.contains("\n# "),
            "a section without a comment: [{section}"
        );
    }
}

#[test]
fn init_refuses_a_folder_that_holds_anything_and_a_region_that_it_does_not_know() {
    let workspace = TestWorkspace::of_region("us:46");
    let path = text_of(&workspace.path());
    let before = contents(&workspace.path());
    let run = bractline(&["init", &path, "--region", "us:38"]).expect_code(1);
    assert_message(&run, &["it is not empty", "a new folder"]);
    assert_eq!(
        contents(&workspace.path()),
        before,
        "a refused init changes nothing"
    );

    let new = workspace.beside("new");
    for region in ["us:99", "us:", "us:4x", "no-such-file.geojson"] {
        let run = bractline(&["init", &text_of(&new), "--region", region]).expect_code(1);
        assert_message(&run, &[]);
        assert!(
            !new.exists(),
            "a refused init leaves nothing behind: {region}"
        );
    }
}

// --- An empty store ------------------------------------------------------------------------------

#[test]
fn an_empty_store_rolls_up_to_empty_files_and_gives_no_alert() {
    let workspace = TestWorkspace::of_region("us:46");
    let out = workspace.beside("figures");
    let run = workspace
        .run(&["rollup", "--out", &text_of(&out)])
        .expect_code(0);
    assert!(run.stdout.contains("rolled up 0 county-weeks"), "{run:#?}");
    let csv = std::fs::read_to_string(out.join("public/county_week.csv")).expect("the table");
    assert_eq!(csv.lines().count(), 1, "a header and no row");
    let geojson = std::fs::read_to_string(out.join("public/county_week.geojson")).expect("the map");
    let geojson: Value = serde_json::from_str(&geojson).expect("JSON");
    assert_eq!(geojson["features"], Value::Array(Vec::new()));

    // A week's map holds every county, also where nobody was.
    let week = workspace.beside("week");
    workspace
        .run(&["rollup", "--week", "2026-W30", "--out", &text_of(&week)])
        .expect_code(0);
    let geojson =
        std::fs::read_to_string(week.join("public/county_week.geojson")).expect("the map");
    let geojson: Value = serde_json::from_str(&geojson).expect("JSON");
    let features = geojson["features"].as_array().expect("features");
    // South Dakota has 66 counties; each stands once under every protocol, since no visit tells which is used.
    let protocols = bractline(&["protocols", "list", "--format", "json"]).json();
    let protocols = protocols["protocols"].as_array().expect("a list").len();
    assert_eq!(features.len(), 66 * protocols);
    assert!(
        features
            .iter()
            .all(|county| county["properties"]["status"] == "no-figures")
    );

    let run = workspace
        .run(&["alert", "--week", "2026-W30"])
        .expect_code(1);
    assert_message(&run, &["no visit in 2026-W30", "no week has visits yet"]);
    assert!(!workspace.path().join("alerts").exists(), "no half output");
}

#[test]
fn an_alert_of_a_week_without_visits_lists_the_weeks_that_have_some() {
    let workspace = TestWorkspace::of_region("us:46");
    let mut later = visit("later");
    later["observed_on"] = "2026-08-04".into();
    later["submitted_at"] = "2026-08-04T18:00:00Z".into();
    workspace.load_text("two.ndjson", &lines(&[visit("one"), later]));
    let run = workspace
        .run(&["alert", "--week", "2026-W31"])
        .expect_code(1);
    assert_message(&run, &["no visit in 2026-W31", "are 2026-W30, 2026-W32"]);
    assert!(!workspace.path().join("alerts").exists(), "no half output");
    let run = workspace
        .run(&["alert", "--week", "2026-W30"])
        .expect_code(0);
    let first = run.stdout.lines().next().unwrap_or_default();
    assert!(
        first.starts_with("draft of 2026-W30, bsm-eggs: "),
        "{run:#?}"
    );
    let page = first.rsplit(": ").next().expect("a path");
    assert!(Path::new(page).is_file(), "{page}");
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
