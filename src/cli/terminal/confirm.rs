//! A preview that a person confirms: by an answer on a terminal.

use std::io::{BufRead, IsTerminal, Write};

use scouting::failure::{Failure, Kind};

/// How a preview ends that nobody confirmed.
pub(in crate::cli) const NOTHING_CHANGED: &str = "nothing is changed yet: add --yes to do it";

/// Whether a person can be asked: both ends are a terminal.
pub(in crate::cli) fn can_ask() -> bool {
    std::io::stdin().is_terminal() && std::io::stderr().is_terminal()
}

/// Whether the person at the terminal says to go on. Without a terminal nobody is asked, and nothing is done.
pub(in crate::cli) fn confirmed(question: &str) -> Result<bool, Failure> {
    let (stdin, mut stderr) = (std::io::stdin(), std::io::stderr());
    if !can_ask() {
        return Ok(false);
    }
    let failed = |error| Failure::new(Kind::Files, format!("cannot ask on the terminal: {error}"));
    write!(stderr, "{question} [y/N] ").map_err(failed)?;
    stderr.flush().map_err(failed)?;
    let mut answer = String::new();
    stdin.lock().read_line(&mut answer).map_err(failed)?;
    Ok(matches!(answer.trim().to_lowercase().as_str(), "y" | "yes"))
}
