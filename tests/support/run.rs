//! The program as a user starts it, and what a run came to.

use std::process::{Command, Stdio};

use serde_json::Value;

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
