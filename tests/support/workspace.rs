//! A workspace in a temporary folder, and the program run in it.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;
use tempfile::TempDir;

use crate::support::{Run, assert_adds_up, bractline, folder_bytes, program};

/// A workspace of its own, removed when it is dropped.
pub struct TestWorkspace {
    folder: TempDir,
    /// What the program finds in its environment in addition to what the tests have.
    environment: Vec<(String, String)>,
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

    /// The files of a roll-up of everything, by name.
    pub fn rolled_up(&self) -> BTreeMap<String, Vec<u8>> {
        let out = tempfile::tempdir().expect("a temporary folder");
        let folder = out.path().join("figures");
        self.run(&["rollup", "--out", &folder.display().to_string()])
            .expect_code(0);
        folder_bytes(&folder)
    }
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
