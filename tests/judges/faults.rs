//! Disks that are full or read-only, in a mount space of their own.

use std::process::{Command, Output};

use crate::support::care::{submission, with_an_alert};
use crate::support::{TestWorkspace, contents, program};

/// A shell script in a mount space of its own, with `$B` the program and `$W` the workspace.
fn in_own_mounts(workspace: &TestWorkspace, script: &str) -> Output {
    Command::new("unshare")
        .args(["--user", "--map-root-user", "--mount", "sh", "-euc", script])
        .env("B", program().get_program())
        .env("W", workspace.path())
        .env("BESIDE", workspace.beside(""))
        .output()
        .expect("unshare is part of the system")
}

#[test]
fn a_full_disk_is_told_and_the_store_stays_whole() {
    let workspace = with_an_alert();
    workspace.write("next", submission(100..140));
    let before = workspace.rolled_up();
    // The disk is filled to the last block but eight; then room is made. `dd` has to fail: it writes until the disk
    // is full.
    let output = in_own_mounts(
        &workspace,
        r#"D=$BESIDE/disk; mkdir "$D"; mount -t tmpfs -o size=4m none "$D"
           cp -r "$W" "$D/w"
           if dd if=/dev/zero of="$D/filler" bs=4k 2>/dev/null; then exit 89; fi
           truncate -s -32k "$D/filler"
           if "$B" --workspace "$D/w" load "$BESIDE/next" >"$BESIDE/said" 2>"$BESIDE/error"; then exit 90; fi
           test ! -s "$BESIDE/said"
           if "$B" --workspace "$D/w" rollup --out "$D/figures" 2>>"$BESIDE/error"; then exit 91; fi
           test ! -e "$D/figures"
           "$B" --workspace "$D/w" store verify >/dev/null
           rm "$D/filler"
           "$B" --workspace "$D/w" rollup --out "$BESIDE/figures" >/dev/null
           "$B" --workspace "$D/w" load "$BESIDE/next" >"$BESIDE/said" || test $? = 3
           "$B" --workspace "$D/w" store verify >/dev/null"#,
    );
    assert!(output.status.success(), "{output:?}");
    let said = std::fs::read_to_string(workspace.beside("said")).unwrap();
    assert!(said.contains("40 accepted"), "{said}");
    let error = std::fs::read_to_string(workspace.beside("error")).unwrap();
    assert!(error.contains("No space left"), "{error}");
    assert!(crate::support::folder_bytes(&workspace.beside("figures")) == before);
}

#[test]
fn a_folder_that_may_only_be_read_is_told_and_can_be_read() {
    let workspace = with_an_alert();
    workspace.write("next", submission(100..104));
    let before = contents(&workspace.path());
    let output = in_own_mounts(
        &workspace,
        r#"mount --bind "$W" "$W"; mount -o remount,ro,bind "$W"
           for command in "load $BESIDE/next" "store compact" "alert --week 2026-W31 --issue" \
               "rollup --out $W/figures" "store vacuum --older-than 0 --alone"; do
               code=0; "$B" --workspace "$W" $command >/dev/null 2>>"$BESIDE/error" || code=$?
               echo "$command: $code" >>"$BESIDE/codes"
           done
           "$B" --workspace "$W" store verify
           "$B" --workspace "$W" sql "select count(*) from visits"
           "$B" --workspace "$W" rollup --out "$BESIDE/figures""#,
    );
    assert!(output.status.success(), "{output:?}");
    let codes = std::fs::read_to_string(workspace.beside("codes")).unwrap();
    let failed = codes.lines().filter(|line| line.ends_with(": 1")).count();
    // Vacuum finds nothing to remove, so it has nothing to write.
    assert_eq!(failed, 4, "{codes}");
    let error = std::fs::read_to_string(workspace.beside("error")).unwrap();
    assert!(error.contains("Read-only file system"), "{error}");
    assert!(contents(&workspace.path()) == before);
}
