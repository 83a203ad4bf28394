//! Every command that changes something, killed at its steps, and what is found afterwards.
//!
//! A step is a call that makes something last: a sync, a name given or taken. `strace` kills at the n-th of
//! one thread. The everyday run takes a few steps of each command; `BRACTLINE_CRASH_MINUTES=60` takes every
//! step in turn and then moments by chance for so long, and `BRACTLINE_CRASH_SEED` chooses them.

mod killed;

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::process::Command;
use std::time::{Duration, Instant};

use killed::{
    COMPACT, DROP, EDIT, ISSUE, Killed, LOAD, Moment, ROLLUP, UNDO, VACUUM, arguments, kill,
};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::{Value, json};

use crate::care::break_off;
use crate::support::care::{submission, with_an_alert};
use crate::support::{TestWorkspace, contents, folder_bytes, full_visit, lines, program};

/// Calls that make something last.
const STEPS: &str = "fsync,fdatasync,rename,renameat,renameat2,linkat,unlink,unlinkat,mkdir";

/// A workspace in which each command has something to do.
pub fn prepared() -> TestWorkspace {
    let workspace = with_an_alert();
    let later: Vec<Value> = (60..64)
        .map(|number| {
            let mut visit = full_visit(&format!("v-{number}"));
            visit["field"]["field_id"] = json!(format!("F-{number}"));
            visit["observed_on"] = json!("2026-07-28");
            visit["submitted_at"] = json!("2026-07-28T18:00:00Z");
            visit
        })
        .collect();
    workspace.load_text("later.ndjson", &lines(&later));
    workspace.run(&["store", "compact"]).expect_code(0);
    workspace.load_text("after.ndjson", &submission(70..72));
    break_off(&workspace, "broken-off", &submission(80..82));
    workspace
}

fn copied(workspace: &TestWorkspace) -> TestWorkspace {
    let copy = workspace.copied();
    copy.write("next", submission(90..94));
    copy
}

/// What is compared with an undisturbed run.
#[derive(Debug, PartialEq)]
struct State {
    figures: BTreeMap<String, Vec<u8>>,
    rows: Value,
    alerts: Vec<Value>,
    out: Option<BTreeMap<String, Vec<u8>>>,
}

fn run(workspace: &TestWorkspace, arguments: &[&str]) -> Result<crate::support::Run, String> {
    let run = workspace.run(arguments);
    match run.code {
        Some(0) => Ok(run),
        _ => Err(format!("{arguments:?} failed: {run:#?}")),
    }
}

/// Looks at everything; what is wrong, in words.
fn state(workspace: &TestWorkspace, killed: &Killed) -> Result<State, String> {
    run(workspace, &["store", "verify"])?;
    let mut rows = workspace.store_rows();
    // A load that was done is a receipt of duplicates the second time: the rows tell.
    rows.as_object_mut().unwrap().remove("receipts");
    let list = run(workspace, &["alert", "--list", "--format", "json"])?.json();
    let mut alerts = Vec::new();
    for alert in list["alerts"].as_array().unwrap() {
        let number = alert["number"].to_string();
        let again = workspace.run(&["alert", "--as-issued", &number, "--format", "json"]);
        if again.code != Some(0) || again.json()["same"] != true {
            return Err(format!("alert {number} comes out otherwise: {again:#?}"));
        }
        let folder = workspace
            .path()
            .join("alerts/issued")
            .join(format!("{:0>4}", number));
        if !folder.is_dir() {
            return Err(format!("alert {number} has no folder"));
        }
        for file in alert["files"].as_array().unwrap() {
            let path = folder.join(file["name"].as_str().unwrap());
            let bytes = std::fs::metadata(&path)
                .map(|file| file.len())
                .unwrap_or_default();
            if json!(bytes) != file["bytes"] {
                return Err(format!("{} is not whole", path.display()));
            }
        }
        alerts.push(json!([number, alert["iso_week"], alert["protocol"]]));
    }
    let out = killed.out.map(|out| workspace.beside(out));
    Ok(State {
        figures: workspace.rolled_up(),
        rows,
        alerts,
        out: out.filter(|out| out.exists()).map(|out| folder_bytes(&out)),
    })
}

/// Looks at a workspace after a kill, runs the command again and looks once more.
fn check(workspace: &TestWorkspace, killed: &Killed, right: &State) -> Result<(), String> {
    // The store opens, every receipt has its rows, and what was written out is whole or not there.
    run(workspace, &["store", "verify"])?;
    if let Some(out) = killed
        .out
        .map(|out| workspace.beside(out))
        .filter(|out| out.exists())
        && right.out.as_ref() != Some(&folder_bytes(&out))
    {
        return Err("an unfinished product is in the output folder".to_owned());
    }
    let again = arguments(killed, workspace);
    let again: Vec<&str> = again.iter().map(String::as_str).collect();
    let again = workspace.run(&again);
    let done = again.code.is_some_and(|code| killed.codes.contains(&code))
        || killed
            .done_already
            .is_some_and(|said| again.code == Some(1) && again.stderr.contains(said));
    if !done {
        return Err(format!("the same command again: {again:#?}"));
    }
    run(workspace, VACUUM.arguments)?;
    let found = state(workspace, killed)?;
    for (what, same) in [
        ("the roll-up", found.figures == right.figures),
        ("the rows", found.rows == right.rows),
        ("the alerts", found.alerts == right.alerts),
        ("the output folder", found.out == right.out),
    ] {
        if !same {
            return Err(format!(
                "{what} differ from those of an undisturbed run: {found:#?}"
            ));
        }
    }
    let left: Vec<String> = folder_bytes(&workspace.path())
        .into_keys()
        .filter(|path| {
            let name = path.rsplit('/').next().unwrap_or_default();
            name.contains("staged") || name.contains('#') || format!("/{path}").contains("/.")
        })
        .collect();
    let dry = workspace.run(&[
        "store",
        "vacuum",
        "--older-than",
        "0",
        "--alone",
        "--dry-run",
        "--format",
        "json",
    ]);
    let parquet = contents(&workspace.path().join("store/units"))
        .into_keys()
        .filter(|path| {
            path.extension().is_some_and(|ending| ending == "parquet")
                && !path.display().to_string().contains("_delta_log")
        });
    let info = run(workspace, &["store", "info", "--format", "json"])?.json();
    let units = info["tables"]
        .as_array()
        .unwrap()
        .iter()
        .find(|table| table["name"] == "units")
        .unwrap();
    if !left.is_empty()
        || dry.json()["files"] != json!([])
        || json!(parquet.count()) != units["files"]
    {
        return Err(format!("something is left after vacuum: {left:?} {dry:#?}"));
    }
    Ok(())
}

fn undisturbed(prepared: &TestWorkspace, killed: &Killed) -> (State, usize) {
    let workspace = copied(prepared);
    let trace = workspace.beside("trace");
    let output = Command::new("strace")
        .args(["-f", "-qq", "-e", &format!("trace={STEPS}"), "-o"])
        .arg(&trace)
        .arg(program().get_program())
        .args(["--workspace", &workspace.path().display().to_string()])
        .args(arguments(killed, &workspace))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("strace is installed; `bash tests/run` installs it");
    let code = output.status.code().expect("an exit code");
    assert!(killed.codes.contains(&code), "{output:?}");
    let mut of_threads: BTreeMap<String, usize> = BTreeMap::new();
    for line in std::fs::read_to_string(&trace).unwrap().lines() {
        if !line.contains("resumed>") && !line.contains("+++") {
            let thread = line.split_whitespace().next().unwrap_or_default();
            *of_threads.entry(thread.to_owned()).or_default() += 1;
        }
    }
    run(&workspace, VACUUM.arguments).unwrap();
    let right = state(&workspace, killed).unwrap();
    (right, of_threads.into_values().max().unwrap_or_default())
}

fn setting(name: &str) -> Option<u64> {
    std::env::var(name).ok()?.parse().ok()
}

/// Kills one command and looks; how often it was tried, and how often a kill hit.
fn kills(prepared: &TestWorkspace, killed: &Killed) -> (usize, usize) {
    let (right, steps) = undisturbed(prepared, killed);
    assert!(steps > 0, "{} has no step to be killed at", killed.name);
    let seed = setting("BRACTLINE_CRASH_SEED").unwrap_or(1);
    let mut chance = ChaCha8Rng::seed_from_u64(seed ^ killed.name.len() as u64);
    let at = |moment: Moment| {
        let workspace = copied(prepared);
        let hit = kill(&workspace, killed, moment);
        if let Err(wrong) = check(&workspace, killed, &right) {
            panic!(
                "{} killed at {moment:?} (seed {seed}): {wrong}",
                killed.name
            );
        }
        hit
    };
    let Some(minutes) = setting("BRACTLINE_CRASH_MINUTES") else {
        let hit = at(Moment::Step(chance.random_range(1..=steps)));
        return (1, usize::from(hit));
    };
    let end = Instant::now() + Duration::from_secs(minutes * 60);
    let (mut tries, mut hits) = (0, 0);
    for number in 1.. {
        let hit = at(Moment::Step(number));
        (tries, hits) = (tries + 1, hits + usize::from(hit));
        if !hit || Instant::now() > end {
            break;
        }
    }
    while Instant::now() < end {
        let long = Duration::from_micros(chance.random_range(0..1_500_000));
        let hit = at(Moment::After(long));
        (tries, hits) = (tries + 1, hits + usize::from(hit));
    }
    println!(
        "{}: {tries} tries, {hits} kills, {steps} steps, seed {seed}",
        killed.name
    );
    (tries, hits)
}

#[test]
fn every_command_that_is_killed_is_wholly_done_or_not_at_all() {
    let prepared = prepared();
    let hits: usize = std::thread::scope(|scope| {
        let commands = [
            &LOAD, &ROLLUP, &ISSUE, &DROP, &UNDO, &EDIT, &COMPACT, &VACUUM,
        ];
        let running = commands.map(|killed| {
            let prepared = &prepared;
            scope.spawn(move || kills(prepared, killed).1)
        });
        running
            .into_iter()
            .map(|thread| {
                thread
                    .join()
                    .expect("a command that was killed is whole or absent")
            })
            .sum()
    });
    assert!(hits > 0, "no kill hit anything");
}

/// The file that a table's newest entry added. Of the others some are left for no one: by a load that was
/// broken off, or by `store compact`.
fn last_added(workspace: &TestWorkspace, table: &str) -> PathBuf {
    let table = workspace.path().join("store").join(table);
    let (_, newest) = contents(&table.join("_delta_log"))
        .into_iter()
        .rfind(|(path, _)| path.extension().is_some_and(|ending| ending == "json"))
        .expect("an entry");
    let actions = serde_json::Deserializer::from_slice(&newest).into_iter::<Value>();
    let mut added =
        actions.filter_map(|action| Some(action.ok()?["add"]["path"].as_str()?.to_owned()));
    table.join(added.next().expect("an entry that adds a file"))
}

/// The harness itself: what a kill could break if the order were wrong is found.
#[test]
fn the_check_after_a_kill_finds_what_is_planted() {
    let prepared = prepared();
    let (right, _) = undisturbed(&prepared, &ROLLUP);
    let first = |workspace: &TestWorkspace, within: &str, ending: &str| {
        let files = contents(&workspace.path().join(within)).into_keys();
        let mut files = files.filter(|path| path.display().to_string().ends_with(ending));
        files.next().expect("a file to damage")
    };
    check(&copied(&prepared), &ROLLUP, &right).expect("nothing is planted yet");
    type Plant<'a> = &'a dyn Fn(&TestWorkspace);
    let plants: [(&str, Plant<'_>); 6] = [
        ("a receipt before its rows", &|workspace| {
            workspace.load_text("more", &submission(95..96));
            let log = workspace.path().join("store/units/_delta_log");
            let entries = contents(&log).into_keys();
            let newest = entries
                .filter(|path| path.extension().is_some_and(|ending| ending == "json"))
                .max();
            std::fs::remove_file(newest.unwrap()).unwrap();
        }),
        ("a file removed that is needed", &|workspace| {
            std::fs::remove_file(last_added(workspace, "receipts")).unwrap();
        }),
        ("an entry without its bytes", &|workspace| {
            std::fs::write(first(workspace, "store/held/_delta_log", "2.json"), "").unwrap();
        }),
        ("half a product", &|workspace| {
            let out = workspace.beside("figures");
            std::fs::create_dir(&out).unwrap();
            std::fs::write(out.join("county_week.csv"), "county_id").unwrap();
        }),
        ("an alert without a file", &|workspace| {
            std::fs::remove_file(first(workspace, "alerts/issued/0001", "alert.html")).unwrap();
        }),
        ("a name that vacuum does not know", &|workspace| {
            std::fs::write(workspace.path().join("store/visits/staged-part"), "x").unwrap();
        }),
    ];
    for (what, plant) in plants {
        let workspace = copied(&prepared);
        plant(&workspace);
        assert!(
            check(&workspace, &ROLLUP, &right).is_err(),
            "{what} is not found"
        );
    }
}
