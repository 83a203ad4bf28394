//! What kind of file a submission is, told by its content and never by its name.
//!
//! Reading its records is [`super::reader`].

use std::fs::File;
use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use flate2::bufread::MultiGzDecoder;
use sha2::{Digest, Sha256};

use crate::failure::{Failure, Kind};

/// How much of a submission is looked at to tell its form.
const LOOK_BYTES: usize = 64 * 1024;
const GZIP_MAGIC: [u8; 2] = [0x1f, 0x8b];

/// A file that was handed in, before any of its records is read.
#[derive(Debug, Clone)]
pub struct SubmittedFile {
    /// Where it lies.
    pub path: PathBuf,
    /// Its name for reports: without folder, `-` for standard input.
    pub name: String,
    /// SHA-256 of its bytes, hexadecimal.
    pub sha256: String,
    /// Its size, bytes.
    pub bytes: u64,
    /// When it was last written to, as far as the file system knows.
    pub modified: Option<SystemTime>,
    /// What it holds.
    pub form: Form,
    /// Whether it is packed with gzip.
    pub gzip: bool,
}

/// How records lie in a submission.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// One JSON document a line.
    Ndjson,
    /// One JSON document: a record, or an array of them.
    Json,
}

impl SubmittedFile {
    /// Reads a file once, for its hash, its size and its form.
    pub fn look_at(path: &Path, name: &str) -> Result<SubmittedFile, Failure> {
        let unreadable = |error| Failure::file("read", path, &error);
        let metadata = std::fs::metadata(path).map_err(unreadable)?;
        if !metadata.is_file() {
            return Err(Failure::new(
                Kind::Submission,
                format!("cannot load {}: it is not a regular file", path.display()),
            )
            .mend("hand in files, a folder of them, or - for standard input"));
        }
        let mut file = File::open(path).map_err(unreadable)?;
        let (hash, bytes) = hash_of(&mut file).map_err(unreadable)?;
        let gzip = starts_with_gzip(path).map_err(unreadable)?;
        let mut content = open(path, gzip).map_err(unreadable)?;
        let mut look = Vec::new();
        let looked = content
            .by_ref()
            .take(LOOK_BYTES as u64)
            .read_to_end(&mut look);
        // A packed file that was cut off is known by unpacking it, before anything is loaded.
        let unpacked = match gzip {
            true => looked.and_then(|_| std::io::copy(&mut content, &mut std::io::sink())),
            false => looked.map(|_| 0),
        };
        unpacked.map_err(|error| broken_off(name, &error))?;
        let form = form_of(&look).map_err(|failure| failure.at(path.display().to_string()))?;
        Ok(SubmittedFile {
            path: path.to_owned(),
            name: name.to_owned(),
            sha256: hash,
            bytes,
            modified: metadata.modified().ok(),
            form,
            gzip,
        })
    }

    /// Refuses a file that was written to since it was looked at: its receipt would name a content
    /// that nobody read.
    pub fn check_unchanged(&self) -> Result<(), Failure> {
        let metadata = std::fs::metadata(&self.path)
            .map_err(|error| Failure::file("read", &self.path, &error))?;
        if metadata.len() == self.bytes && metadata.modified().ok() == self.modified {
            return Ok(());
        }
        Err(Failure::new(
            Kind::Submission,
            format!("{} changed while it was read", self.name),
        )
        .mend("load it when it is complete; nothing of it was loaded"))
    }

    /// Opens the unpacked content.
    pub fn open(&self) -> Result<Box<dyn BufRead + Send>, Failure> {
        open(&self.path, self.gzip).map_err(|error| Failure::file("read", &self.path, &error))
    }

    /// The form in words, for receipts.
    pub fn form_name(&self) -> String {
        let form = match self.form {
            Form::Ndjson => "ndjson",
            Form::Json => "json",
        };
        if self.gzip {
            format!("{form}+gzip")
        } else {
            form.to_owned()
        }
    }
}

/// A submission that ends too early, or cannot be unpacked or read to its end.
pub fn broken_off(name: &str, error: &std::io::Error) -> Failure {
    Failure::new(
        Kind::Submission,
        format!("cannot read {name} to its end: {error}"),
    )
    .mend("is the file whole? fetch it again; nothing of it was loaded")
}

fn open(path: &Path, gzip: bool) -> std::io::Result<Box<dyn BufRead + Send>> {
    let file = BufReader::with_capacity(256 * 1024, File::open(path)?);
    Ok(if gzip {
        Box::new(BufReader::with_capacity(
            256 * 1024,
            MultiGzDecoder::new(file),
        ))
    } else {
        Box::new(file)
    })
}

fn starts_with_gzip(path: &Path) -> std::io::Result<bool> {
    let mut start = Vec::new();
    File::open(path)?.take(2).read_to_end(&mut start)?;
    Ok(start == GZIP_MAGIC)
}

fn hash_of(file: &mut File) -> std::io::Result<(String, u64)> {
    let mut hasher = Sha256::new();
    let mut block = vec![0; 256 * 1024];
    let mut bytes = 0;
    loop {
        let read = file.read(&mut block)?;
        if read == 0 {
            break;
        }
        hasher.update(&block[..read]);
        bytes += read as u64;
    }
    Ok((hexadecimal(&hasher.finalize()), bytes))
}

/// Lower-case hexadecimal digits.
pub fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Tells the form from the beginning of the content.
///
/// An array, or an object that is spread over lines, is one document. Where it cannot be told, the
/// content is taken as lines, so that one broken line does not hold the others.
fn form_of(start: &[u8]) -> Result<Form, Failure> {
    let start = start.strip_prefix(b"\xef\xbb\xbf").unwrap_or(start);
    if start.starts_with(b"\xff\xfe") || start.starts_with(b"\xfe\xff") {
        return Err(
            Failure::new(Kind::Submission, "cannot load a submission in UTF-16")
                .mend("save it as UTF-8 and load it again"),
        );
    }
    let mut lines = start
        .split(|byte| *byte == b'\n')
        .map(<[u8]>::trim_ascii)
        .filter(|line| !line.is_empty());
    let Some(first) = lines.next() else {
        return Ok(Form::Ndjson);
    };
    if first.starts_with(b"[") {
        return Ok(Form::Json);
    }
    let spread = first.starts_with(b"{")
        && !first.ends_with(b"}")
        && lines
            .next()
            .is_some_and(|second| second.starts_with(b"\"") || second == b"}");
    Ok(if spread { Form::Json } else { Form::Ndjson })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_form_is_told_by_content() {
        let json: [&[u8]; 4] = [
            b"[{}]",
            b"  \n[",
            b"{\n  \"visit_id\": 1",
            b"\xef\xbb\xbf{\r\n\"visit_id\": 1",
        ];
        for content in json {
            assert_eq!(
                form_of(content).unwrap(),
                Form::Json,
                "{}",
                content.escape_ascii()
            );
        }
        let lines: [&[u8]; 6] = [
            b"",
            b"{}\n{}",
            b"{\"broken\":\n{}",
            b"garbage\n{}",
            b"{\"visit_id\":\"a\"}",
            b"{\"cut",
        ];
        for content in lines {
            assert_eq!(
                form_of(content).unwrap(),
                Form::Ndjson,
                "{}",
                content.escape_ascii()
            );
        }
    }
}
