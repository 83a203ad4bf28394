//! What tests share: a workspace in a temporary folder, the program as a user runs it, a valid visit to
//! bend, and the independent programs in `tests/reference`.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use bractline::shared::tables::ColumnDoc;
use bractline::store::stages::files::StageColumn;
use serde_json::{Value, json};
use tempfile::TempDir;

/// A workspace of its own, removed when it is dropped.
pub struct TestWorkspace {
    folder: TempDir,
    /// What the program finds in its environment beside what the tests have.
    environment: Vec<(String, String)>,
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
    /// Runs a program to its end.
    pub fn of(command: &mut Command) -> Run {
        let output = command.output().expect("the program starts");
        Run {
            code: output.status.code(),
            stdout: String::from_utf8_lossy(&output.stdout).into_owned(),
            stderr: String::from_utf8_lossy(&output.stderr).into_owned(),
        }
    }

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
        TestWorkspace {
            folder,
            environment: Vec::new(),
        }
    }

    /// The same, with more in the environment of the program.
    pub fn with_environment(mut self, environment: Vec<(String, String)>) -> TestWorkspace {
        self.environment = environment;
        self
    }

    /// A new workspace of a region: `us:46`.
    pub fn of_region(region: &str) -> TestWorkspace {
        let workspace = TestWorkspace::empty();
        let path = workspace.path().display().to_string();
        bractline(&["init", &path, "--region", region]).expect_code(0);
        workspace
    }

    /// A new workspace of the invented region of the sample data.
    pub fn of_invented_region() -> TestWorkspace {
        let workspace = TestWorkspace::empty();
        let path = workspace.path().display().to_string();
        bractline(&[
            "init",
            &path,
            "--region",
            "sample_data/region.geojson",
            "--id-property",
            "county_id",
            "--name-property",
            "county_name",
        ])
        .expect_code(0);
        workspace
    }

    /// The same workspace in another place.
    pub fn copied(&self) -> TestWorkspace {
        let copy = TestWorkspace::empty().with_environment(self.environment.clone());
        copy_folder(&self.path(), &copy.path());
        copy
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

    /// Puts a text of the settings in the place of another, which must be there.
    #[track_caller]
    pub fn change_setting(&self, from: &str, to: &str) {
        let path = self.path().join("bractline.toml");
        let settings = std::fs::read_to_string(&path).expect("settings");
        assert!(settings.contains(from), "{from:?} is not in {settings}");
        std::fs::write(path, settings.replace(from, to)).expect("settings");
    }

    /// Runs the program in this workspace.
    pub fn run(&self, arguments: &[&str]) -> Run {
        Run::of(&mut self.command(arguments))
    }

    /// Runs the program with the environment of this workspace, which need not be there yet.
    pub fn run_plain(&self, arguments: &[&str]) -> Run {
        let environment = self.environment.iter().cloned();
        Run::of(program().args(arguments).envs(environment))
    }

    /// The program in this workspace, not started yet.
    pub fn command(&self, arguments: &[&str]) -> Command {
        let mut command = program();
        command
            .arg("--workspace")
            .arg(self.path())
            .args(arguments)
            .envs(self.environment.iter().cloned());
        command
    }

    /// Loads text as one NDJSON submission; the JSON account.
    pub fn load_text(&self, name: &str, text: &str) -> Value {
        self.load(&[&self.write(name, text)])
    }

    /// Loads submissions in one run; the JSON account, after a look at the exit code and the sum.
    #[track_caller]
    pub fn load(&self, files: &[&Path]) -> Value {
        let files: Vec<String> = files
            .iter()
            .map(|file| file.display().to_string())
            .collect();
        let files: Vec<&str> = files.iter().map(String::as_str).collect();
        let run = self.run(&[&["load", "--format", "json"], files.as_slice()].concat());
        let account = run.json();
        let held = account["held"].as_u64().expect("a number of held records");
        run.expect_code(if held > 0 { 3 } else { 0 });
        assert_adds_up(&account);
        account
    }

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

    /// The files of a roll-up of everything, by name.
    pub fn rolled_up(&self) -> BTreeMap<String, Vec<u8>> {
        let out = tempfile::tempdir().expect("a temporary folder");
        let folder = out.path().join("figures");
        self.run(&["rollup", "--out", &folder.display().to_string()])
            .expect_code(0);
        folder_bytes(&folder)
    }
}

/// received = accepted + duplicate + held, in sum and for each submission.
#[track_caller]
pub fn assert_adds_up(account: &Value) {
    let count = |of: &Value, name: &str| of[name].as_u64().expect("a number");
    let submissions = account["submissions"].as_array().expect("submissions");
    for of in std::iter::once(account).chain(submissions) {
        assert_eq!(
            count(of, "received"),
            count(of, "accepted") + count(of, "duplicate") + count(of, "held"),
            "{account:#}"
        );
    }
    for name in ["received", "accepted", "duplicate", "held"] {
        let sum: u64 = submissions.iter().map(|of| count(of, name)).sum();
        assert_eq!(count(account, name), sum, "{name} of {account:#}");
    }
}

/// The four numbers of an account: received, accepted, duplicate, held.
pub fn counts(account: &Value) -> [u64; 4] {
    ["received", "accepted", "duplicate", "held"]
        .map(|name| account[name].as_u64().expect("a number"))
}

/// Every file under a folder, by its path within it.
pub fn folder_bytes(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut files = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(place) = folders.pop() {
        for entry in std::fs::read_dir(&place).expect("a folder that can be read") {
            let path = entry.expect("an entry that can be read").path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let within = path.strip_prefix(folder).expect("a path within the folder");
                let bytes = std::fs::read(&path).expect("a file that can be read");
                files.insert(within.display().to_string(), bytes);
            }
        }
    }
    files
}

/// A row of a table: its cells by the names of their columns.
pub type Row = BTreeMap<String, String>;

/// The rows of a CSV file.
pub fn csv_rows(bytes: &[u8]) -> Vec<Row> {
    let mut reader = csv::Reader::from_reader(bytes);
    let rows = reader.deserialize().map(|row| row.expect("a row"));
    rows.collect()
}

/// What the columns of a table mean.
pub fn docs(columns: &[StageColumn]) -> Vec<ColumnDoc<'_>> {
    let columns = columns.iter().map(|column| ColumnDoc {
        name: &column.name,
        description: &column.description,
        unit: column.unit.as_deref(),
    });
    columns.collect()
}

/// Columns of a map that say of which county and week a row is; the figures are the others.
pub const IDENTITY: [&str; 8] = [
    "county_id",
    "county_name",
    "season",
    "iso_week",
    "start",
    "end",
    "protocol",
    "status",
];

/// Permissions of a file or folder.
#[cfg(unix)]
pub fn mode(path: &Path) -> u32 {
    use std::os::unix::fs::PermissionsExt;
    let metadata = std::fs::symlink_metadata(path).expect("it is there");
    metadata.permissions().mode() & 0o777
}

/// A folder and everything below it are their owner's alone.
#[cfg(unix)]
#[track_caller]
pub fn assert_private(folder: &Path) {
    let all = everything(folder);
    assert!(all.len() > 1, "{}: nothing was written", folder.display());
    for path in all {
        let right = if path.is_dir() { 0o700 } else { 0o600 };
        let mode = mode(&path);
        assert_eq!(mode, right, "{} is {mode:o}", path.display());
    }
}

/// A folder and everything below it.
pub fn everything(folder: &Path) -> Vec<PathBuf> {
    let mut all = vec![folder.to_owned()];
    let mut next = 0;
    while next < all.len() {
        if all[next].is_dir() {
            let entries = std::fs::read_dir(&all[next]).expect("a folder");
            all.extend(entries.map(|entry| entry.expect("an entry").path()));
        }
        next += 1;
    }
    all
}

fn copy_folder(from: &Path, to: &Path) {
    for (name, bytes) in folder_bytes(from) {
        let path = to.join(name);
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
        std::fs::write(path, bytes).expect("a copy");
    }
    // A workspace has folders that are empty.
    for folder in ["protocols", "store"] {
        std::fs::create_dir_all(to.join(folder)).expect("a folder");
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
    Run::of(program().args(arguments))
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

/// A valid visit with a full sample, so that no flag stands on it.
pub fn full_visit(visit_id: &str) -> Value {
    let mut visit = visit(visit_id);
    let heads = vec![vec![0, 1, 0, 2, 0, 0]; 5];
    visit["sites"] = (1..=4)
        .map(|site| json!({ "site": site, "heads": heads }))
        .collect();
    visit
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
