//! The independent programs in `tests/reference`, in the environments that `tests/run` makes.

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use serde_json::Value;

use crate::support::{TestWorkspace, assert_adds_up};

impl TestWorkspace {
    /// Loads a submission and measures it from outside: peak resident memory in KiB, and the account.
    pub fn load_measured(&self, file: &Path) -> (u64, Value) {
        let measured = self.measured(&["load", "--format", "json", &file.display().to_string()]);
        let said = measured["stdout"].as_str().expect("text");
        let account: Value = serde_json::from_str(said).expect("an account");
        assert_adds_up(&account);
        (measured["peak_kib"].as_u64().expect("a number"), account)
    }

    /// Runs the program in this workspace; what `tests/reference/measured.py` says of the run.
    #[track_caller]
    pub fn measured(&self, arguments: &[&str]) -> Value {
        let path = self.path().display().to_string();
        let program = [env!("CARGO_BIN_EXE_bractline"), "--workspace", &path];
        let text = python(
            "tests/reference/measured.py",
            &[&program, arguments].concat(),
        );
        let measured: Value = serde_json::from_str(&text).expect("JSON from a program of ours");
        assert!(
            matches!(measured["code"].as_i64(), Some(0 | 3)),
            "{measured:#}"
        );
        measured
    }

    /// What the kept tables hold, as a program that is not ours reads it.
    pub fn store_rows(&self) -> Value {
        let text = python(
            "tests/reference/store_rows.py",
            &[&self.path().display().to_string()],
        );
        serde_json::from_str(&text).expect("JSON from a program of ours")
    }
}

/// Runs a Python program of the project in the environment that `tests/run` makes; its stdout.
pub fn python(script: &str, arguments: &[&str]) -> String {
    let python = prepared("BRACTLINE_VENV", "venv").join("bin/python");
    independent(Command::new(python).arg(script).args(arguments))
}

/// Runs a Python program of the project with Debian's Python, which has the bindings of QGIS; its stdout.
pub fn debian_python(script: &str, arguments: &[&str]) -> String {
    independent(Command::new("/usr/bin/python3").arg(script).args(arguments))
}

/// Runs a Node.js program of the project with the packages that `tests/run` installs; its stdout.
pub fn node(script: &str, arguments: &[&str]) -> String {
    let modules = prepared("BRACTLINE_NODE", "node").join("node_modules");
    independent(
        Command::new("node")
            .arg(script)
            .args(arguments)
            .env("NODE_PATH", modules),
    )
}

/// A folder that `tests/run` prepares: named by a variable, else in the cache.
fn prepared(variable: &str, name: &str) -> PathBuf {
    std::env::var_os(variable)
        .map(PathBuf::from)
        .unwrap_or_else(|| {
            let home = std::env::var_os("HOME").expect("HOME is set");
            Path::new(&home).join(".cache/bractline").join(name)
        })
}

fn independent(command: &mut Command) -> String {
    command
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .stdin(Stdio::null());
    let shown = format!("{command:?}");
    let output: Output = command.output().unwrap_or_else(|error| {
        panic!("{shown}: {error}; `bash tests/run` installs what it needs")
    });
    assert!(
        output.status.success(),
        "{shown} failed:\n{}{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8(output.stdout).expect("UTF-8 from a program of ours")
}
