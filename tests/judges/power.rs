//! The power goes at the word: whatever was not synced by then is lost, and the store must still hold what was reported.
//!
//! `strace` writes down what the program does until it says that it is done. A file whose bytes were not synced is then
//! filled with zeros, a name whose folder was not synced is taken away: the worst that a file system may do (POSIX,
//! `fsync`, rationale). The last test leaves syncs out, which this must find.

use std::collections::BTreeSet;
use std::path::Path;

use crate::crash::prepared;
use crate::durability::{join_resumed, traced};
use crate::support::TestWorkspace;
use crate::support::care::submission;

const CALLS: &str = "trace=openat,creat,write,pwrite64,writev,ftruncate,copy_file_range,fsync,fdatasync,link,linkat,\
                     rename,renameat,renameat2,unlink,unlinkat,mkdir,mkdirat";

/// What the disk owes: bytes and names that a power cut may take.
#[derive(Debug, Default, PartialEq, Eq)]
struct Owed {
    bytes: BTreeSet<String>,
    names: BTreeSet<String>,
    /// Syncs that were done.
    syncs: usize,
}

impl Owed {
    /// Follows a trace up to the first word on stdout, within a folder.
    fn until_the_word(trace: &str, within: &Path) -> Owed {
        let within = within.display().to_string();
        let mut owed = Owed::default();
        for line in trace.lines() {
            let Some((call, arguments)) = line
                .trim_start()
                .split_once(' ')
                .and_then(|(_, call)| call.trim_start().split_once('('))
            else {
                continue;
            };
            // A call that failed changed nothing.
            if arguments.contains(" = -1 ") {
                continue;
            }
            let left_out = arguments.contains("(INJECTED)");
            let open = arguments
                .split_once('<')
                .and_then(|(_, rest)| rest.split_once('>'))
                .map_or("", |(path, _)| path);
            let quoted: Vec<&str> = arguments.split('"').skip(1).step_by(2).collect();
            if call == "write" && arguments.starts_with("1<") {
                break;
            }
            match (call, quoted.as_slice()) {
                ("openat" | "creat", [path, ..]) if arguments.contains("O_CREAT") => {
                    owed.name(path, &within);
                }
                ("mkdir" | "mkdirat", [path, ..]) => owed.name(path, &within),
                ("write" | "pwrite64" | "writev" | "ftruncate" | "copy_file_range", _)
                    if open.starts_with(&within) =>
                {
                    owed.bytes.insert(open.to_owned());
                }
                ("fsync" | "fdatasync", _) if !left_out => owed.synced(open, &within),
                ("link" | "linkat", [old, new, ..]) => {
                    if owed.bytes.contains(*old) {
                        owed.bytes.insert((*new).to_owned());
                    }
                    owed.name(new, &within);
                }
                ("rename" | "renameat" | "renameat2", [old, new, ..]) => {
                    if owed.bytes.remove(*old) {
                        owed.bytes.insert((*new).to_owned());
                    }
                    owed.names.remove(*old);
                    owed.name(new, &within);
                }
                ("unlink" | "unlinkat", [path, ..]) => {
                    owed.bytes.remove(*path);
                    owed.names.remove(*path);
                }
                _ => {}
            }
        }
        owed
    }

    fn name(&mut self, path: &str, within: &str) {
        if path.starts_with(within) {
            self.names.insert(path.to_owned());
        }
    }

    fn synced(&mut self, path: &str, within: &str) {
        if !path.starts_with(within) {
            return;
        }
        self.syncs += 1;
        self.bytes.remove(path);
        let folder = |name: &String| Path::new(name).parent() == Some(Path::new(path));
        self.names.retain(|name| !folder(name));
    }

    /// Takes from the disk what it owes.
    fn collect(&self) {
        for path in self.bytes.iter().filter(|path| Path::new(path).is_file()) {
            let length = std::fs::metadata(path).expect("a file").len();
            std::fs::write(path, vec![0; length as usize]).expect("zeros");
        }
        for path in self
            .names
            .iter()
            .map(Path::new)
            .filter(|path| path.exists())
        {
            match path.is_dir() {
                true => std::fs::remove_dir_all(path).expect("a folder goes"),
                false => std::fs::remove_file(path).expect("a name goes"),
            }
        }
    }
}

/// Runs a command in a copy until it is done; the copy, and what the disk owed at its first word.
fn run(
    prepared: &TestWorkspace,
    arguments: &[&str],
    leave_out: Option<&str>,
) -> (TestWorkspace, Owed) {
    let workspace = prepared.copied();
    let next = workspace
        .write("next", submission(90..94))
        .display()
        .to_string();
    let arguments: Vec<&str> = arguments
        .iter()
        .map(|argument| {
            if *argument == "NEXT" {
                &next
            } else {
                *argument
            }
        })
        .collect();
    let trace = workspace.beside("trace");
    let trace_name = trace.display().to_string();
    let mut options = vec!["--seccomp-bpf", "-o", &trace_name, "-e", CALLS];
    options.extend(leave_out.iter().flat_map(|inject| ["-e", *inject]));
    let output = traced(&workspace, &options, &arguments)
        .output()
        .expect("strace is installed; `bash tests/run` installs it");
    assert!(matches!(output.status.code(), Some(0 | 3)), "{output:?}");
    let trace = std::fs::read_to_string(&trace).expect("a trace");
    let owed = Owed::until_the_word(&join_resumed(&trace), &workspace.path());
    (workspace, owed)
}

#[test]
fn what_was_told_as_done_outlives_the_power_at_that_very_word() {
    let prepared = prepared();
    let commands: [&[&str]; 4] = [
        &["load", "NEXT"],
        &["alert", "--week", "2026-W31", "--issue"],
        &[
            "held", "drop", "--yes", "--reason", "a test", "--by", "tester", "--file", "1.ndjson",
        ],
        &["store", "compact"],
    ];
    for arguments in commands {
        let (workspace, owed) = run(&prepared, arguments, None);
        assert!(owed.syncs > 4, "{arguments:?}: {owed:?}");
        let before = workspace.rolled_up();
        owed.collect();
        let verified = workspace.run(&["store", "verify"]);
        assert_eq!(
            verified.code,
            Some(0),
            "{arguments:?}: {owed:?}: {verified:#?}"
        );
        assert!(workspace.rolled_up() == before, "{arguments:?}: {owed:?}");
        let list = workspace
            .run(&["alert", "--list", "--format", "json"])
            .json();
        for alert in list["alerts"].as_array().expect("alerts") {
            let number = alert["number"].to_string();
            workspace
                .run(&["alert", "--as-issued", &number])
                .expect_code(0);
        }
    }
}

/// The harness itself: a sync that is left out is owed, and what is lost by it is found.
#[test]
fn a_sync_that_is_left_out_is_found() {
    let prepared = prepared();
    // Every sync; then the first of each thread, among them the very first.
    for (leave_out, loses) in [
        ("inject=fsync:retval=0", true),
        ("inject=fsync:retval=0:when=1", false),
    ] {
        let (workspace, owed) = run(&prepared, &["load", "NEXT"], Some(leave_out));
        assert!(
            !owed.bytes.is_empty() || !owed.names.is_empty(),
            "{leave_out}: nothing is owed"
        );
        let before = workspace.rolled_up();
        owed.collect();
        let verified = workspace.run(&["store", "verify"]);
        let lost = verified.code != Some(0) || workspace.rolled_up() != before;
        assert!(lost || !loses, "{leave_out}: {owed:?} was no loss");
    }
}
