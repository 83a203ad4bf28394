//! The tables of a workspace in a bucket of a real server of S3's protocol (crate `s3s-fs`, which `tests/run`
//! installs): the same figures as in a folder, nothing lost when several write, clear words when it is gone.

use std::io::Read;
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use crate::support::care::submission;
use crate::support::{TestWorkspace, counts, folder_bytes, received};

const SECRET: &str = "not-to-be-seen-in-any-message";

/// A keeper of buckets on this machine; gone when it is dropped.
struct Keeper {
    server: Child,
    port: u16,
    folder: tempfile::TempDir,
}

impl Keeper {
    /// Starts one with an empty bucket `fields`.
    fn start() -> Keeper {
        let folder = tempfile::tempdir().expect("a temporary folder");
        std::fs::create_dir(folder.path().join("fields")).expect("a bucket");
        // Asked of the system, and free a moment later as well.
        let free = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("a port");
        let port = free.local_addr().expect("its number").port();
        drop(free);
        let home = PathBuf::from(std::env::var_os("HOME").expect("HOME is set"));
        let server = Command::new(home.join(".cache/bractline/s3s/bin/s3s-fs"))
            .args(["--host", &Ipv4Addr::LOCALHOST.to_string()])
            .args(["--port", &port.to_string()])
            .args(["--access-key", "scout", "--secret-key", SECRET])
            .arg(folder.path())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("s3s-fs is installed; `bash tests/run` installs it");
        let begun = Instant::now();
        while TcpStream::connect((Ipv4Addr::LOCALHOST, port)).is_err() {
            assert!(
                begun.elapsed() < Duration::from_secs(30),
                "it does not start"
            );
            std::thread::sleep(Duration::from_millis(20));
        }
        Keeper {
            server,
            port,
            folder,
        }
    }

    fn environment(&self) -> Vec<(String, String)> {
        let endpoint = format!("http://{}:{}", Ipv4Addr::LOCALHOST, self.port);
        [
            ("AWS_ENDPOINT", endpoint.as_str()),
            ("AWS_REGION", "us-east-1"),
            ("AWS_ACCESS_KEY_ID", "scout"),
            ("AWS_SECRET_ACCESS_KEY", SECRET),
            ("AWS_ALLOW_HTTP", "true"),
        ]
        .map(|(name, value)| (name.to_owned(), value.to_owned()))
        .to_vec()
    }

    /// A workspace whose tables lie here.
    fn workspace(&self) -> TestWorkspace {
        let workspace = TestWorkspace::empty().with_environment(self.environment());
        let path = workspace.path().display().to_string();
        let arguments = [
            "init",
            &path,
            "--region",
            "us:46",
            "--store",
            "s3://fields/north",
        ];
        workspace.run_plain(&arguments).expect_code(0);
        workspace
    }

    fn stop(&mut self) {
        self.server.kill().expect("it runs");
        self.server.wait().expect("it ends");
    }
}

impl Drop for Keeper {
    fn drop(&mut self) {
        // It may be stopped already.
        let _ = self.server.kill();
        let _ = self.server.wait();
    }
}

fn out(workspace: &TestWorkspace, name: &str) -> String {
    workspace.beside(name).display().to_string()
}

#[test]
fn a_bucket_gives_the_same_figures_as_a_folder() {
    let keeper = Keeper::start();
    let (there, here) = (keeper.workspace(), TestWorkspace::of_region("us:46"));
    for workspace in [&there, &here] {
        for part in 0..4 {
            let text = submission(part * 5..part * 5 + 6);
            let account = workspace.load_text(&format!("{part}.ndjson"), &text);
            let seen_before = u64::from(part > 0);
            assert_eq!(
                counts(&account),
                received(7)
                    .accepted(6 - seen_before)
                    .duplicate(seen_before)
                    .held(1)
            );
        }
    }
    assert!(!there.path().join("store").exists());
    assert!(keeper.folder.path().join("fields/north/visits").is_dir());
    let figures = here.rolled_up();
    assert!(there.rolled_up() == figures);

    let week = ["alert", "--week", "2026-W30", "--issue"];
    there.run(&week).expect_code(0);
    there.load_text("later.ndjson", &submission(40..44));
    let again = out(&there, "again");
    let as_issued = ["alert", "--as-issued", "1", "--out", &again];
    there.run(&as_issued).expect_code(0);
    let issued = folder_bytes(&there.path().join("alerts/issued/0001"));
    assert!(folder_bytes(Path::new(&again)) == issued);

    let later = there.rolled_up();
    there.run(&["store", "verify"]).expect_code(0);
    let together = there.run(&["store", "compact"]).expect_code(0);
    assert!(together.stdout.contains("visits"), "{together:?}");
    let vacuum = [
        "store",
        "vacuum",
        "--older-than",
        "0",
        "--alone",
        "--format",
        "json",
    ];
    let removed = there.run(&vacuum).expect_code(0).json();
    assert!(
        removed["files"]
            .as_array()
            .is_some_and(|files| files.len() >= 10)
    );
    there.run(&["store", "verify"]).expect_code(0);
    assert!(there.rolled_up() == later);
    let rows = there.run(&["sql", "select count(*) as n from visits", "--format", "csv"]);
    assert_eq!(rows.expect_code(0).stdout.trim(), "n\n25");
}

#[test]
fn a_second_workspace_joins_the_store_of_a_bucket() {
    let keeper = Keeper::start();
    let first = keeper.workspace();
    first.load_text("one.ndjson", &submission(0..5));
    let second = TestWorkspace::empty().with_environment(keeper.environment());
    let path = second.path().display().to_string();
    let said = second.run_plain(&[
        "init",
        &path,
        "--region",
        "us:46",
        "--store",
        "s3://fields/north",
    ]);
    let said = said.expect_code(0);
    assert!(said.stdout.contains("was there already"), "{said:?}");
    let account = second.load_text("again.ndjson", &submission(3..8));
    assert_eq!(
        counts(&account),
        received(6).accepted(3).duplicate(2).held(1)
    );
    assert!(first.rolled_up() == second.rolled_up());
}

#[test]
fn loaders_at_once_lose_and_double_nothing() {
    let keeper = Keeper::start();
    let workspace = keeper.workspace();
    let files: Vec<PathBuf> = (0..4)
        .map(|part| {
            let text = submission(part * 4..part * 4 + 8);
            workspace.write(&format!("{part}.ndjson"), text)
        })
        .collect();
    std::thread::scope(|scope| {
        for file in &files {
            let workspace = &workspace;
            scope.spawn(move || workspace.load(&[file]));
        }
    });
    workspace.run(&["store", "verify"]).expect_code(0);
    let query = "select count(*) as n, count(distinct visit_id) as ids from visits";
    let rows = workspace.run(&["sql", query, "--format", "csv"]);
    assert_eq!(rows.expect_code(0).stdout.trim(), "n,ids\n20,20");
}

#[test]
fn a_file_that_was_torn_in_the_bucket_is_named() {
    let keeper = Keeper::start();
    let workspace = keeper.workspace();
    workspace.load_text("one.ndjson", &submission(0..5));
    let visits = keeper.folder.path().join("fields/north/visits");
    let files = crate::support::contents(&visits);
    let is_data = |path: &&PathBuf| path.to_string_lossy().ends_with(".parquet");
    let file = files.keys().find(is_data).expect("a data file");
    let mut bytes = files[file].clone();
    bytes[100] ^= 1;
    std::fs::write(file, bytes).expect("a torn file");
    let run = workspace.run(&["store", "verify"]).expect_code(1);
    let name = file.file_name().expect("its name").to_string_lossy();
    assert!(run.stdout.contains(&*name), "{run:?}");
}

#[test]
fn a_keeper_that_is_gone_or_refuses_is_told_without_secrets() {
    let mut keeper = Keeper::start();
    let workspace = keeper.workspace();
    workspace.load_text("one.ndjson", &submission(0..5));
    let next = workspace.write("next.ndjson", submission(5..9));
    let mut wrong = keeper.environment();
    wrong[3].1 = "another".to_owned();
    let stranger = workspace.copied().with_environment(wrong);
    let refused = stranger.run(&["store", "info"]).expect_code(1);
    keeper.stop();
    let begun = Instant::now();
    let gone = workspace
        .run(&["-vv", "load", &next.display().to_string()])
        .expect_code(1);
    assert!(
        begun.elapsed() < Duration::from_secs(100),
        "{:?}",
        begun.elapsed()
    );
    for run in [&refused, &gone] {
        assert!(run.stderr.contains("receipts"), "{run:?}");
        assert!(!run.stderr.contains(SECRET), "{run:?}");
        assert_eq!(run.stdout, "");
    }
}

/// Half a log entry cannot be seen: what the keeper shows is whole.
#[test]
fn a_load_that_is_killed_leaves_the_bucket_as_it_was_or_wholly_loaded() {
    let keeper = Keeper::start();
    let workspace = keeper.workspace();
    workspace.load_text("one.ndjson", &submission(0..5));
    let before = workspace.rolled_up();
    let next = workspace.write("next.ndjson", submission(5..45));
    let mut seen = [0, 0];
    for delay in [0, 20, 40, 60, 80, 100, 130, 160, 200, 250] {
        let mut load = workspace.command(&["load", &next.display().to_string()]);
        let mut load = load
            .stdout(Stdio::piped())
            .spawn()
            .expect("the program starts");
        std::thread::sleep(Duration::from_millis(delay));
        // It may have ended already.
        let _ = load.kill();
        let mut said = String::new();
        let mut stdout = load.stdout.take().expect("its words");
        stdout.read_to_string(&mut said).expect("UTF-8");
        load.wait().expect("it ends");
        workspace.run(&["store", "verify"]).expect_code(0);
        let loaded = workspace.rolled_up() != before;
        assert!(loaded || said.is_empty(), "reported as loaded: {said}");
        seen[usize::from(loaded)] += 1;
    }
    let account = workspace.load(&[&next]);
    let expected = match seen[1] > 0 {
        true => received(41).duplicate(40).held(1),
        false => received(41).accepted(40).held(1),
    };
    assert_eq!(counts(&account), expected);
    assert!(seen[0] > 0, "no kill came in time");
}
