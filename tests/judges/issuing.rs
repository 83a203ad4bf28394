//! An issue that is killed at any of its steps, under `strace`.

use std::process::Command;

use crate::support::issuing::loaded;
use crate::support::{TestWorkspace, folder_bytes, program};

/// Issues under strace and kills at the n-th of these calls; `false` if the kill hit nothing.
fn killed_at(workspace: &TestWorkspace, call: &str, number: usize) -> bool {
    let path = workspace.path().display().to_string();
    let output = Command::new("strace")
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(["-f", "-qq", "-o", "/dev/null", "-e"])
        .arg(format!("inject={call}:signal=SIGKILL:when={number}"))
        .arg(program().get_program())
        .args([
            "--workspace",
            &path,
            "alert",
            "--week",
            "2026-W30",
            "--issue",
        ])
        .stdin(std::process::Stdio::null())
        .output()
        .expect("strace is installed; `bash tests/run` installs it");
    match output.status.code() {
        None => {
            assert_eq!(output.stdout, b"", "it said something before it was done");
            true
        }
        code => {
            assert_eq!(code, Some(0), "{output:?}");
            false
        }
    }
}

#[test]
fn an_alert_whose_issue_is_killed_at_any_step_is_wholly_issued_or_not_at_all() {
    let (prepared, _) = loaded();
    for call in ["fsync", "rename", "linkat", "renameat2"] {
        let mut number = 1;
        loop {
            let workspace = prepared.copied();
            let killed = killed_at(&workspace, call, number);
            workspace.run(&["store", "verify"]).expect_code(0);
            // Only the row shows it; whoever reads it next finds the folder under its number.
            let listed = workspace
                .run(&["alert", "--list", "--format", "json"])
                .expect_code(0)
                .json();
            let issued = listed["alerts"].as_array().expect("alerts").len();
            let folder = workspace.path().join("alerts/issued/0001");
            assert_eq!(folder.is_dir(), issued == 1, "{call} {number}");
            let again = workspace.run(&["alert", "--week", "2026-W30", "--issue"]);
            assert_eq!(
                again.code,
                Some(if issued == 1 { 1 } else { 0 }),
                "{call} {number}: {again:?}"
            );
            workspace.run(&["alert", "--as-issued", "1"]).expect_code(0);
            let place = workspace.beside("public").display().to_string();
            workspace.run(&["publish", "--to", &place]).expect_code(0);
            assert_eq!(
                folder_bytes(&workspace.beside("public")).len(),
                19,
                "{call} {number}"
            );
            if !killed {
                break;
            }
            number += 1;
        }
        assert!(number > 1 || call == "renameat2", "no {call} was ever hit");
    }
}
