//! What is on the disk when, shown by the program's own system calls; and a kill at every step.
//!
//! `strace` watches and kills. It counts calls thread by thread, so "the n-th fsync" is the n-th of one
//! thread; that the log entries of each table are met is seen to by name.

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::{Value, json};

use crate::support::{
    Counts, TestWorkspace, assert_adds_up, counts, full_visit, lines, program, received,
};

/// The program under strace; it ends with the program's own exit code or signal.
pub fn traced(workspace: &TestWorkspace, options: &[&str], arguments: &[&str]) -> Command {
    let mut command = Command::new("strace");
    command
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(["-f", "-y", "-s", "300", "-qq"])
        .args(options)
        .arg(program().get_program())
        .args(["--workspace", &workspace.path().display().to_string()])
        .args(arguments)
        .stdin(std::process::Stdio::null());
    command
}

/// A store with two visits, and a submission that corrects, adds, repeats and breaks something.
fn prepared() -> (TestWorkspace, PathBuf) {
    let workspace = TestWorkspace::of_region("us:46");
    let visits: Vec<Value> = (0..5)
        .map(|number| {
            let mut visit = full_visit(&format!("v-{number}"));
            visit["field"]["field_id"] = json!(format!("F-{number}"));
            visit
        })
        .collect();
    workspace.load_text("before", &lines(&visits[..2]));
    let mut corrected = visits[0].clone();
    corrected["revision"] = json!(2);
    corrected["sites"][0]["heads"][0][0] = json!(30);
    let mut withdrawn = visits[1].clone();
    withdrawn["revision"] = json!(2);
    withdrawn["retracted"] = json!(true);
    let text = lines(&[&[corrected, withdrawn, visits[0].clone()], &visits[2..]].concat()) + "{\n";
    let file = workspace.write("submission", text);
    (workspace, file)
}

/// What the submission comes to if nothing of it is known, and if all of it is.
const FRESH: Counts = received(7).accepted(5).duplicate(1).held(1);

const KNOWN: Counts = received(7).duplicate(6).held(1);

/// One call of the trace.
#[derive(Debug)]
struct Call {
    name: String,
    /// The file that it is about: the one that is open, or the new name.
    path: String,
    /// The old name of a rename or a link; the text of a write.
    other: String,
}

/// The calls of a trace in the order in which they were done.
fn calls(trace: &str) -> Vec<Call> {
    trace.lines().filter_map(call).collect()
}

fn call(line: &str) -> Option<Call> {
    // With -f each line begins with the thread; a call that others interrupted ends in "resumed".
    let line = line.trim_start().split_once(' ')?.1.trim_start();
    let (name, arguments) = line.split_once('(')?;
    let quoted: Vec<&str> = arguments.split('"').skip(1).step_by(2).collect();
    let open = arguments
        .split_once('<')
        .and_then(|(_, rest)| rest.split_once('>'));
    let (path, other) = match name {
        "rename" | "linkat" => (quoted.get(1)?.to_string(), quoted.first()?.to_string()),
        "unlink" => (quoted.first()?.to_string(), String::new()),
        "openat" => (quoted.first()?.to_string(), arguments.to_owned()),
        "fsync" | "fdatasync" => (open?.0.to_owned(), String::new()),
        "write" => (
            open?.0.to_owned(),
            arguments
                .split_once('"')
                .map_or("", |(_, text)| text)
                .to_owned(),
        ),
        _ => return None,
    };
    Some(Call {
        name: name.to_owned(),
        path,
        other,
    })
}

#[test]
fn everything_is_on_the_disk_in_order_before_the_program_says_loaded() {
    let (workspace, file) = prepared();
    let trace = workspace.beside("trace");
    let output = traced(
        &workspace,
        &[
            "-o",
            &trace.display().to_string(),
            // A call is written down when it is done, so that no line is split in two.
            "--seccomp-bpf",
            "-e",
            "trace=fsync,fdatasync,linkat,rename,renameat,renameat2,openat,write,unlink",
        ],
        &["load", &file.display().to_string()],
    )
    .output()
    .expect("strace is installed; `bash tests/run` installs it");
    assert_eq!(output.status.code(), Some(3), "{output:?}");
    let text = std::fs::read_to_string(&trace).unwrap();
    let joined = join_resumed(&text);
    let calls = calls(&joined);
    let store = workspace.path().join("store");
    let place_of = |what: &str, test: &dyn Fn(&Call) -> bool| {
        calls
            .iter()
            .position(test)
            .unwrap_or_else(|| panic!("no {what} in\n{joined}"))
    };
    let last_place_of = |test: &dyn Fn(&Call) -> bool| calls.iter().rposition(test).unwrap();
    let synced = |path: &Path, from: usize| {
        let path = path.display().to_string();
        from + calls[from..]
            .iter()
            .position(|call| call.name == "fsync" && call.path == path)
            .unwrap_or_else(|| panic!("{path} is not synced after call {from} of\n{joined}"))
    };
    let said = place_of("word", &|call| {
        call.name == "write" && call.other.starts_with("loaded ")
    });
    let mut entries = Vec::new();
    for table in ["visits", "units", "held", "receipts"] {
        let folder = store.join(table);
        let log = folder.join("_delta_log");
        let entry = log.join(if matches!(table, "held") {
            "00000000000000000001.json"
        } else {
            "00000000000000000002.json"
        });
        let linked = place_of("link", &|call| {
            call.name == "linkat" && Path::new(&call.path) == entry
        });
        // The data file that this entry names: given its name once, its content synced before.
        let named = last_place_of(&|call| {
            call.name == "rename"
                && call.path.starts_with(&folder.display().to_string())
                && call.path.ends_with(".parquet")
        });
        let content_synced =
            last_place_of(&|call| call.name == "fsync" && call.path == calls[named].other);
        let last_written = last_place_of(&|call| {
            call.name == "write" && call.path.starts_with(&format!("{}#", calls[named].other))
        });
        let data_folder = Path::new(&calls[named].path).parent().unwrap();
        let folders_synced = synced(data_folder, named);
        assert!(
            last_written < content_synced && content_synced < named && folders_synced < linked,
            "data of {table}\n{joined}"
        );
        // A new season's folder is in the table's folder.
        assert!(synced(&folder, named) < linked, "{table}\n{joined}");
        // The entry is whole on the disk before it has its name, and its name before anything follows.
        let entry_synced =
            last_place_of(&|call| call.name == "fsync" && call.path == calls[linked].other);
        let entry_written = last_place_of(&|call| {
            call.name == "write" && call.path.starts_with(&format!("{}#", calls[linked].other))
        });
        let log_synced = synced(&log, linked);
        assert!(
            entry_written < entry_synced
                && entry_synced < linked
                && linked < log_synced
                && log_synced < said,
            "log of {table}\n{joined}"
        );
        assert!(
            entries.iter().all(|(_, before)| *before < linked),
            "{table} is not in its turn\n{joined}"
        );
        entries.push((linked, log_synced));
    }
    // The receipt is the last thing that is written, but for the program's own words.
    let after = &calls[entries[3].1..];
    assert!(
        after.iter().all(|call| match call.name.as_str() {
            "write" => !call.path.starts_with(&store.display().to_string()),
            "linkat" | "rename" => false,
            "openat" => !call.other.contains("O_CREAT"),
            _ => true,
        }),
        "{after:#?}"
    );
}

/// Puts calls together that strace wrote down in two halves, at the place of the second: there the
/// call was done.
pub fn join_resumed(trace: &str) -> String {
    let mut begun = std::collections::HashMap::new();
    let mut lines = Vec::new();
    for line in trace.lines() {
        let Some((thread, call)) = line.trim_start().split_once(' ') else {
            continue;
        };
        let call = call.trim_start();
        if let Some(start) = call.strip_suffix("<unfinished ...>") {
            begun.insert(thread, start.trim_end().to_owned());
        } else if let Some((_, end)) = call.split_once("resumed>") {
            let start = begun.remove(thread).unwrap_or_default();
            lines.push(format!("{thread} {start}{end}"));
        } else {
            lines.push(format!("{thread} {call}"));
        }
    }
    lines.join("\n")
}

/// Where to kill the load.
#[derive(Debug, Clone)]
struct Kill {
    call: &'static str,
    /// At which call of one thread, or at every one.
    number: Option<usize>,
    /// Only where the call is about this path in the store.
    path: Option<&'static str>,
}

/// What the undisturbed load comes to.
struct Undisturbed {
    figures: std::collections::BTreeMap<String, Vec<u8>>,
    current: Value,
}

/// Kills the load once; `false` if the kill came too late to hit anything.
fn kill_and_load_again(
    prepared: &(TestWorkspace, PathBuf),
    kill: &Kill,
    right: &Undisturbed,
) -> bool {
    let workspace = prepared.0.copied();
    let file = prepared.1.display().to_string();
    let when = kill
        .number
        .map(|number| format!(":when={number}"))
        .unwrap_or_default();
    let inject = format!("inject={}:signal=SIGKILL{when}", kill.call);
    let path = kill.path.map(|path| in_store(&workspace, path));
    let mut options = vec!["-o", "/dev/null", "-e", &inject];
    options.extend(path.iter().flat_map(|path| ["-P", path]));
    let output = traced(&workspace, &options, &["load", "--format", "json", &file])
        .output()
        .expect("strace is installed");
    let killed = output.status.code().is_none();
    assert!(
        killed || output.status.code() == Some(3),
        "{kill:?}: {output:?}"
    );
    if killed {
        assert_eq!(
            output.stdout, b"",
            "{kill:?}: it said something before it was done"
        );
    }
    let verified = workspace.run(&["store", "verify"]);
    assert_eq!(verified.code, Some(0), "{kill:?}: {verified:#?}");
    // Wholly there or not at all: the same load says which.
    let run = workspace.run(&["load", "--format", "json", &file]);
    assert_eq!(run.code, Some(3), "{kill:?}: {run:#?}");
    let account = run.json();
    assert_adds_up(&account);
    let came_to = counts(&account);
    assert!(
        came_to == KNOWN || (killed && came_to == FRESH),
        "{kill:?}: {account:#}"
    );
    assert!(
        workspace.rolled_up() == right.figures,
        "{kill:?}: another roll-up"
    );
    let verified = workspace.run(&["store", "verify"]);
    assert_eq!(verified.code, Some(0), "{kill:?}: {verified:#?}");
    let stored = workspace.store_rows();
    assert_eq!(stored["current"], right.current, "{kill:?}");
    assert_eq!(
        stored["visits"].as_array().unwrap().len(),
        7,
        "{kill:?}: a visit twice, or none"
    );
    assert_eq!(
        stored["held"].as_array().unwrap().len(),
        1,
        "{kill:?}: a held record twice, or none"
    );
    killed
}

fn undisturbed(prepared: &(TestWorkspace, PathBuf)) -> Undisturbed {
    let workspace = prepared.0.copied();
    assert_eq!(counts(&workspace.load(&[&prepared.1])), FRESH);
    Undisturbed {
        figures: workspace.rolled_up(),
        current: workspace.store_rows()["current"].clone(),
    }
}

#[test]
fn a_load_that_is_killed_at_any_step_is_wholly_there_or_not_at_all() {
    let prepared = prepared();
    let right = undisturbed(&prepared);
    std::thread::scope(|scope| {
        for call in ["fsync", "rename", "linkat"] {
            let (prepared, right) = (&prepared, &right);
            scope.spawn(move || {
                let mut number = 1;
                while kill_and_load_again(
                    prepared,
                    &Kill {
                        call,
                        number: Some(number),
                        path: None,
                    },
                    right,
                ) {
                    number += 1;
                }
                assert!(number > 1, "no {call} was ever hit");
            });
        }
    });
}

#[test]
fn a_load_that_is_killed_at_a_log_entry_is_wholly_there_or_not_at_all() {
    let prepared = prepared();
    let right = undisturbed(&prepared);
    for path in [
        "visits/_delta_log/00000000000000000002.json",
        "units/_delta_log/00000000000000000002.json",
        "held/_delta_log/00000000000000000001.json",
        "receipts/_delta_log/00000000000000000002.json",
    ] {
        // Before the entry has its name, and before the folder that holds the name is synced.
        for (call, path) in [
            ("linkat", path),
            ("fsync", path.rsplit_once('/').unwrap().0),
        ] {
            let kill = Kill {
                call,
                number: None,
                path: Some(path),
            };
            assert!(
                kill_and_load_again(&prepared, &kill, &right),
                "{kill:?} hit nothing"
            );
        }
    }
}

#[test]
fn a_load_that_the_disk_refuses_fails_and_can_be_loaded_again() {
    let prepared = prepared();
    let receipt = "receipts/_delta_log/00000000000000000002.json";
    for (inject, path) in [
        ("inject=fsync:error=EIO", None),
        ("inject=rename:error=ENOSPC", None),
        ("inject=linkat:error=ENOSPC", None),
        ("inject=linkat:error=ENOSPC", Some(receipt)),
        // The receipt has its name by then, but nobody knows whether it would outlive a power cut.
        ("inject=fsync:error=EIO", Some("receipts/_delta_log")),
    ] {
        let workspace = prepared.0.copied();
        let file = prepared.1.display().to_string();
        let path = path.map(|path| in_store(&workspace, path));
        let mut options = vec!["-o", "/dev/null", "-e", inject];
        options.extend(path.iter().flat_map(|path| ["-P", path]));
        let output = traced(&workspace, &options, &["load", &file])
            .output()
            .expect("strace is installed");
        assert_eq!(
            output.status.code(),
            Some(1),
            "{inject} {path:?}: {output:?}"
        );
        assert_eq!(output.stdout, b"", "{inject} {path:?}");
        let words = String::from_utf8_lossy(&output.stderr);
        assert!(words.starts_with("error: "), "{inject} {path:?}: {words}");
        let full = words.contains("make room on the disk");
        assert_eq!(
            full,
            inject.ends_with("ENOSPC"),
            "{inject} {path:?}: {words}"
        );
        workspace.run(&["store", "verify"]).expect_code(0);
        let came_to = counts(&workspace.load(&[&prepared.1]));
        let named_before = path.is_some_and(|path| path.ends_with("_delta_log"));
        assert_eq!(
            came_to,
            if named_before { KNOWN } else { FRESH },
            "{inject}"
        );
        workspace.run(&["store", "verify"]).expect_code(0);
    }
}

fn in_store(workspace: &TestWorkspace, path: &str) -> String {
    workspace
        .path()
        .join("store")
        .join(path)
        .display()
        .to_string()
}
