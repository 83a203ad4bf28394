//! What the program says: the only file that writes to stdout.

use std::io::{BufWriter, IsTerminal, StdoutLock, Write};

use serde::Serialize;
use serde_json::{Map, Value};

use scouting::failure::{Failure, Kind};

/// Held records and their like that a text report lists before it counts the rest.
pub(crate) const LISTED_MAX: usize = 20;

/// Writes text and a line's end to stdout.
pub(crate) fn say(text: &str) -> Result<(), Failure> {
    write_out(|stdout| writeln!(stdout, "{text}"))
}

/// Writes a line to stderr: what a person should know in addition to the result.
pub(crate) fn note(text: &str) {
    // No one can be informed if stderr is gone.
    let _ = writeln!(std::io::stderr().lock(), "{text}");
}

/// Results for programs: a list under its name, and the members of an only one at the top as well.
pub(crate) fn list_or_only(name: &str, results: Vec<Value>) -> Value {
    let mut report = match results.as_slice() {
        [Value::Object(only)] => only.clone(),
        _ => Map::new(),
    };
    report.insert(name.to_owned(), Value::Array(results));
    Value::Object(report)
}

/// Writes one JSON object to stdout, piece by piece: a long report is never held whole.
pub(crate) fn say_json(value: &impl Serialize) -> Result<(), Failure> {
    write_out(|stdout| {
        serde_json::to_writer_pretty(&mut *stdout, value)?;
        writeln!(stdout)
    })
}

fn write_out(
    write: impl FnOnce(&mut BufWriter<StdoutLock<'_>>) -> std::io::Result<()>,
) -> Result<(), Failure> {
    let mut stdout = BufWriter::new(std::io::stdout().lock());
    write(&mut stdout)
        .and_then(|()| stdout.flush())
        .map_err(|error| match error.kind() {
            std::io::ErrorKind::BrokenPipe => {
                Failure::new(Kind::ClosedPipe, "the program that reads the output ended")
            }
            // Every command speaks when its work is on the disk.
            _ => Failure::because(Kind::Files, "cannot write the report", error)
                .mend("the work itself is done (a load is stored): only its report is missing"),
        })
}

/// Whether stderr takes color: a terminal, and `NO_COLOR` is not set.
pub(crate) fn stderr_has_color() -> bool {
    std::io::stderr().is_terminal()
        && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
}

/// `1 record`, `2 records`, `1,234 records`.
pub(crate) fn counted(count: u64, one: &str, several: &str) -> String {
    format!(
        "{} {}",
        grouped(count),
        if count == 1 { one } else { several }
    )
}

/// `812 bytes`, `3.4 kB`, `1.2 MB`: powers of 1000.
pub(crate) fn in_bytes(bytes: u64) -> String {
    match bytes {
        0..1_000 => counted(bytes, "byte", "bytes"),
        1_000..1_000_000 => format!("{:.1} kB", bytes as f64 / 1e3),
        _ => format!("{:.1} MB", bytes as f64 / 1e6),
    }
}

/// `1,234,567`.
pub(crate) fn grouped(count: u64) -> String {
    let digits = count.to_string();
    let groups: Vec<&str> = digits
        .as_bytes()
        .rchunks(3)
        .rev()
        .filter_map(|group| std::str::from_utf8(group).ok())
        .collect();
    groups.join(",")
}
