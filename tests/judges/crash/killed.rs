//! Commands that are killed, and the moments at which they are.

use std::process::Command;
use std::time::Duration;

use super::STEPS;
use crate::support::{TestWorkspace, program};

/// A command under test.
pub struct Killed {
    pub name: &'static str,
    pub arguments: &'static [&'static str],
    /// Exit codes of an undisturbed run.
    pub codes: &'static [i32],
    /// What the same command says, with exit code 1, if it was done already.
    pub done_already: Option<&'static str>,
    /// The folder beside the workspace that it writes to.
    pub out: Option<&'static str>,
}

pub const LOAD: Killed = Killed {
    name: "load",
    arguments: &["load", "--format", "json", "BESIDE/next"],
    codes: &[3],
    done_already: None,
    out: None,
};

pub const ROLLUP: Killed = Killed {
    name: "rollup",
    arguments: &["rollup", "--out", "BESIDE/figures"],
    codes: &[0],
    done_already: None,
    out: Some("figures"),
};

pub const ISSUE: Killed = Killed {
    name: "alert --issue",
    arguments: &["alert", "--week", "2026-W31", "--issue"],
    codes: &[0],
    done_already: Some("is issued already"),
    out: None,
};

pub const DROP: Killed = Killed {
    name: "held drop",
    arguments: &[
        "held", "drop", "--yes", "--reason", "a test", "--by", "tester", "--file", "1.ndjson",
    ],
    codes: &[0],
    done_already: Some("nothing was dropped"),
    out: None,
};

pub const UNDO: Killed = Killed {
    name: "submissions undo",
    arguments: &[
        "submissions",
        "undo",
        "LOAD/later.ndjson",
        "--yes",
        "--reason",
        "a test",
        "--by",
        "tester",
    ],
    codes: &[0],
    done_already: Some("is undone already"),
    out: None,
};

pub const EDIT: Killed = Killed {
    name: "visit edit",
    arguments: &[
        "visit",
        "edit",
        "v-60",
        "--set",
        "/field/area_ha=65",
        "--reason",
        "a test",
        "--by",
        "tester",
    ],
    codes: &[0],
    done_already: Some("it has these values already"),
    out: None,
};

pub const COMPACT: Killed = Killed {
    name: "store compact",
    arguments: &["store", "compact"],
    codes: &[0],
    done_already: None,
    out: None,
};

pub const VACUUM: Killed = Killed {
    name: "store vacuum",
    arguments: &["store", "vacuum", "--older-than", "0", "--alone"],
    codes: &[0],
    done_already: None,
    out: None,
};

pub fn arguments(killed: &Killed, workspace: &TestWorkspace) -> Vec<String> {
    let beside = workspace.beside("").display().to_string();
    let given = killed.arguments.iter();
    given
        .map(|argument| match argument.strip_prefix("LOAD/") {
            Some(file) => load_of(workspace, file),
            None => argument.replace("BESIDE/", &beside),
        })
        .collect()
}

/// The id of the load of a file.
fn load_of(workspace: &TestWorkspace, file: &str) -> String {
    let list = workspace
        .run(&["submissions", "list", "--format", "json"])
        .json();
    let loads = list.as_array().expect("a list of loads");
    let of_file = loads.iter().find(|load| load["file_name"] == file);
    of_file
        .and_then(|load| load["load_id"].as_str())
        .expect("a load of the file")
        .to_owned()
}

/// When a command is killed.
#[derive(Debug, Clone, Copy)]
pub enum Moment {
    /// At the n-th step of a thread.
    Step(usize),
    /// After so long.
    After(Duration),
}

pub fn kill(workspace: &TestWorkspace, killed: &Killed, moment: Moment) -> bool {
    let inject = match moment {
        Moment::Step(number) => format!("inject={STEPS}:signal=SIGKILL:when={number}"),
        Moment::After(_) => "trace=none".to_owned(),
    };
    let mut child = Command::new("strace")
        .args(["-f", "-qq", "-o", "/dev/null", "-e", &inject])
        .arg(program().get_program())
        .args(["--workspace", &workspace.path().display().to_string()])
        .args(arguments(killed, workspace))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .stdin(std::process::Stdio::null())
        .stdout(std::process::Stdio::null())
        .stderr(std::process::Stdio::null())
        .spawn()
        .expect("strace is installed; `bash tests/run` installs it");
    if let Moment::After(long) = moment {
        std::thread::sleep(long);
        // The traced program is the only child of strace, which ends with it.
        let children = format!("/proc/{0}/task/{0}/children", child.id());
        let children = std::fs::read_to_string(children).unwrap_or_default();
        for process in children.split_whitespace() {
            let _ = Command::new("kill").args(["-9", process]).status();
        }
    }
    child.wait().expect("it ends").code().is_none()
}
