//! The program: arguments → command → exit code, all of it in [`bractline::cli`].

use std::process::ExitCode;

/// A load makes and frees millions of small texts, often on two threads: with the system's allocator a tenth
/// of its time (benches/RESULTS.md).
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    bractline::cli::run()
}
