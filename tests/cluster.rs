//! The roll-up on a cluster: a scheduler and executors as processes of their own on this machine give the same
//! files as this process alone; without them the words are clear.

use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use crate::support::care::submission;
use crate::support::{Run, TestWorkspace, folder_bytes};

/// Processes of a cluster; killed when it is dropped.
struct Cluster {
    port: u16,
    nodes: Vec<Child>,
    folder: tempfile::TempDir,
}

impl Cluster {
    /// A scheduler and so many executors of one core each.
    fn of(executors: usize) -> Cluster {
        let port = free_port();
        let mut cluster = Cluster {
            port,
            nodes: Vec::new(),
            folder: tempfile::tempdir().expect("a temporary folder"),
        };
        cluster.start(&["scheduler", &port.to_string()], port);
        for _ in 0..executors {
            cluster.add_executor();
        }
        cluster
    }

    fn add_executor(&mut self) {
        let [port, other] = [free_port(), free_port()];
        let folder = self.folder.path().join(port.to_string());
        std::fs::create_dir(&folder).expect("a folder");
        let scheduler = self.port.to_string();
        let folder = folder.display().to_string();
        let ports = [port.to_string(), other.to_string()];
        self.start(
            &["executor", &scheduler, &ports[0], &ports[1], &folder],
            port,
        );
    }

    /// Starts a node and waits until it takes connections.
    fn start(&mut self, arguments: &[&str], port: u16) {
        let program = PathBuf::from(env!("CARGO_BIN_EXE_bractline"));
        let node = program.with_file_name("examples").join("cluster_node");
        let child = Command::new(node)
            .args(arguments)
            // The engine is built without optimization for the tests: its planner then takes more of the stack
            // than a thread has by itself.
            .env("RUST_MIN_STACK", (32 << 20).to_string())
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("the node is built with the tests");
        self.nodes.push(child);
        let begun = Instant::now();
        while TcpStream::connect((Ipv4Addr::LOCALHOST, port)).is_err() {
            let waited = begun.elapsed();
            assert!(
                waited < Duration::from_secs(60),
                "{arguments:?} does not start"
            );
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// Kills the newest node.
    fn kill_newest(&mut self) {
        let mut node = self.nodes.pop().expect("a node");
        node.kill().expect("it runs");
        node.wait().expect("it ends");
    }

    fn address(&self) -> String {
        format!("df://{}:{}", Ipv4Addr::LOCALHOST, self.port)
    }

    fn roll_up(&self, workspace: &TestWorkspace, out: &str) -> Run {
        let out = workspace.beside(out).display().to_string();
        workspace.run(&["rollup", "--cluster", &self.address(), "--out", &out])
    }
}

impl Drop for Cluster {
    fn drop(&mut self) {
        for node in &mut self.nodes {
            // One of them may have ended by itself.
            let _ = node.kill();
            let _ = node.wait();
        }
    }
}

fn free_port() -> u16 {
    let free = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("a port");
    free.local_addr().expect("its number").port()
}

/// What of the sample season came as records.
fn season() -> TestWorkspace {
    let workspace = TestWorkspace::of_invented_region();
    workspace
        .run(&["load", "sample_data/submissions"])
        .expect_code(3);
    workspace
}

#[test]
fn a_cluster_gives_the_same_files_as_this_process() {
    let workspace = season();
    let here = workspace.rolled_up();
    let cluster = Cluster::of(2);
    cluster.roll_up(&workspace, "figures").expect_code(0);
    let there = folder_bytes(&workspace.beside("figures"));
    for (name, bytes) in &here {
        assert!(there.get(name) == Some(bytes), "{name} differs");
    }
    assert_eq!(here.len(), there.len());
    // What was handed over is gone again.
    let left = std::fs::read_dir(workspace.path()).expect("a folder");
    let left: Vec<_> = left
        .map(|entry| entry.expect("an entry").file_name())
        .filter(|name| name.to_string_lossy().starts_with('.'))
        .collect();
    assert!(left.is_empty(), "{left:?}");
}

#[test]
fn a_cluster_that_is_not_there_is_told() {
    let workspace = TestWorkspace::of_region("us:46");
    workspace.load_text("one.ndjson", &submission(0..5));
    let mut cluster = Cluster::of(0);
    // A scheduler without executors.
    let out = workspace.beside("figures").display().to_string();
    let address = cluster.address();
    let alone = [
        "rollup",
        "--cluster",
        &address,
        "--cluster-minutes",
        "0.05",
        "--out",
        &out,
    ];
    let run = workspace.run(&alone).expect_code(1);
    assert!(run.stderr.contains("no answer in 3 s"), "{run:?}");
    // No scheduler.
    cluster.kill_newest();
    let run = cluster.roll_up(&workspace, "figures").expect_code(1);
    assert!(run.stderr.contains("no scheduler answers"), "{run:?}");
    for odd in ["http://example.org:1", "example.org:50050", "df://", ""] {
        let run = workspace.run(&["rollup", "--cluster", odd, "--out", &out]);
        assert!(
            run.expect_code(1).stderr.contains("df://host:50050"),
            "{odd}"
        );
    }
    assert!(!workspace.beside("figures").exists());
}
