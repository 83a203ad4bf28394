//! The floor of a load: reads a file of visits line by line into strict types, borrowed where it can, and does
//! nothing else; or, with `--check`, reads each line as `load` does, with all that the schema asks.
//!
//!     cargo run --release --example floor_reader -- visits.ndjson
//!     cargo run --release --example floor_reader -- visits.ndjson --check
//!
//! It prints how many lines there are and how many were sound.

use std::fs::File;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::ExitCode;

use floor_visit::Visit;
use intake::judge::validate::VisitSchema;

mod floor_visit;

const USAGE: &str = "usage: floor_reader VISITS.ndjson [--check]";

/// Whether a line can be read.
type Read = Box<dyn Fn(&[u8]) -> bool>;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let read: Read = match arguments.as_slice() {
        [_] => Box::new(|line| serde_json::from_slice::<Visit<'_>>(line).is_ok()),
        [_, flag] if flag == "--check" => {
            let schema = VisitSchema::new();
            Box::new(move |line| schema.read(line).is_ok())
        }
        _ => {
            eprintln!("{USAGE}");
            return ExitCode::from(2);
        }
    };
    match count(Path::new(&arguments[0]), &read) {
        Ok((lines, sound)) => {
            println!("{}", serde_json::json!({ "lines": lines, "sound": sound }));
            ExitCode::SUCCESS
        }
        Err(error) => {
            eprintln!("cannot read {}: {error}", arguments[0]);
            ExitCode::FAILURE
        }
    }
}

/// How many lines there are, and how many of them are read.
fn count(path: &Path, read: &dyn Fn(&[u8]) -> bool) -> std::io::Result<(u64, u64)> {
    let mut content = BufReader::with_capacity(1 << 20, File::open(path)?);
    let (mut lines, mut sound) = (0, 0);
    let mut line = Vec::new();
    while content.read_until(b'\n', &mut line)? > 0 {
        lines += 1;
        sound += u64::from(read(line.trim_ascii_end()));
        line.clear();
    }
    Ok((lines, sound))
}
