//! What tests share: a workspace in a temporary folder, the program as a user runs it, a valid visit to
//! bend, and the independent programs in `tests/reference`.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use serde_json::{Value, json};
use tempfile::TempDir;

/// A workspace of its own, removed when it is dropped.
pub struct TestWorkspace {
    folder: TempDir,
}

/// What a run of the program came to.
#[derive(Debug)]
pub struct Run {
    /// Exit code; `None` if a signal ended it.
    pub code: Option<i32>,
    /// What it wrote to stdout.
    pub stdout: String,
    /// What it wrote to stderr.
    pub stderr: String,
}

impl Run {
    /// The run's stdout as JSON.
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.stdout)
            .unwrap_or_else(|error| panic!("stdout is not JSON ({error}): {self:?}"))
    }

    /// The run itself, if it ended with this code.
    #[track_caller]
    pub fn expect_code(self, code: i32) -> Run {
        assert_eq!(self.code, Some(code), "{self:#?}");
        self
    }
}

impl TestWorkspace {
    /// A place for a workspace that is not made yet.
    pub fn empty() -> TestWorkspace {
        let folder = tempfile::tempdir().expect("a temporary folder");
        TestWorkspace { folder }
    }

    /// A new workspace of a region: `us:46`.
    pub fn of_region(region: &str) -> TestWorkspace {
        let workspace = TestWorkspace::empty();
        let path = workspace.path().display().to_string();
        bractline(&["init", &path, "--region", region]).expect_code(0);
        workspace
    }

    /// The workspace's folder.
    pub fn path(&self) -> PathBuf {
        self.folder.path().join("workspace")
    }

    /// A path beside the workspace, for submissions and outputs.
    pub fn beside(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Writes a file beside the workspace.
    pub fn write(&self, name: &str, content: impl AsRef<[u8]>) -> PathBuf {
        let path = self.beside(name);
        std::fs::write(&path, content).expect("a file beside the workspace");
        path
    }

    /// Runs the program in this workspace.
    pub fn run(&self, arguments: &[&str]) -> Run {
        let path = self.path().display().to_string();
        bractline(&[&["--workspace", &path], arguments].concat())
    }

    /// Loads text as one NDJSON submission; the JSON account.
    pub fn load_text(&self, name: &str, text: &str) -> Value {
        let path = self.write(name, text);
        let run = self.run(&["load", &path.display().to_string(), "--format", "json"]);
        assert!(matches!(run.code, Some(0 | 3)), "{run:#?}");
        run.json()
    }
}

/// The program, as a user would start it.
pub fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_bractline"));
    command
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .stdin(Stdio::null());
    command
}

/// Runs the program to its end.
pub fn bractline(arguments: &[&str]) -> Run {
    let output = program()
        .args(arguments)
        .output()
        .expect("the program starts");
    Run {
        code: output.status.code(),
        stdout: String::from_utf8_lossy(&output.stdout).into_owned(),
        stderr: String::from_utf8_lossy(&output.stderr).into_owned(),
    }
}

/// A valid visit in South Dakota (us:46), to be bent by a test.
pub fn visit(visit_id: &str) -> Value {
    json!({
        "schema_version": "1.0", "visit_id": visit_id, "revision": 1,
        "observed_on": "2026-07-21", "submitted_at": "2026-07-21T18:03:00Z", "observer_id": "obs-0123",
        "field": {"field_id": "F-000123", "lon": -100.12345, "lat": 44.12345, "area_ha": 62.4,
            "crop_type": "oilseed"},
        "protocol": "bsm-eggs", "crop_stage": "R3",
        "economics": {
            "treatment_cost": {"amount": 8.00, "per": "acre", "currency": "USD"},
            "market_value": {"amount": 0.16, "per": "lb", "currency": "USD"},
            "plant_population": {"count": 20000, "per": "acre"}},
        "sites": [{"site": 1, "heads": [[0, 1, 0, 2, 0, 0], [0, 0, 0, 0, 1, 0]]}]
    })
}

/// Documents as NDJSON.
pub fn lines(documents: &[Value]) -> String {
    documents
        .iter()
        .map(|document| format!("{document}\n"))
        .collect()
}

/// Every file under a folder with its content.
pub fn contents(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut files = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in std::fs::read_dir(next).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let content = std::fs::read(&path).expect("a file");
                files.insert(path, content);
            }
        }
    }
    files
}

/// Runs a Python program of the project in the environment that `tests/run` makes; its stdout.
pub fn python(script: &str, arguments: &[&str]) -> String {
    let python = prepared("BRACTLINE_VENV", "venv").join("bin/python");
    independent(Command::new(python).arg(script).args(arguments))
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
