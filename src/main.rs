//! The program: arguments → command → exit code, all of it in [`bractline::cli`].

use std::process::ExitCode;

fn main() -> ExitCode {
    bractline::cli::run()
}
