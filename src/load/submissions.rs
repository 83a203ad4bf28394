//! The submissions that a person named: files, folders of them, or standard input; and the account of
//! what became of them.

use std::collections::BTreeMap;
use std::io::Write;
use std::path::{Path, PathBuf};

use serde::Serialize;

use crate::load::account::Account;
use crate::load::reports::RecordReports;
use crate::shared::report;
use crate::shared::report::{LISTED_MAX, counted};
use intake::mapping::SheetNotRead;
use intake::read::formats;
use intake::read::submitted::SubmittedFile;
use scouting::failure::{Failure, Kind};
use scouting::visit::code::Code;
use store::rows::receipt::Counts;

/// Visits of a flag that a text report lists; the JSON report lists all.
const FLAGS_LISTED_MAX: usize = 3;

/// The named submissions, looked at; standard input waits in a file of its own until this is dropped.
pub struct Submissions {
    /// In the order of loading.
    pub files: Vec<SubmittedFile>,
    _standard_input: Option<tempfile::NamedTempFile>,
}

impl Submissions {
    /// Looks at everything that was named before anything is loaded, so that a wrong name changes
    /// nothing. Files of a folder come in the order of their names; hidden ones are passed over.
    pub fn look_at(named: &[PathBuf]) -> Result<Submissions, Failure> {
        let mut files = Vec::new();
        let mut standard_input = None;
        for path in named {
            if path.as_os_str() == "-" {
                if standard_input.is_some() {
                    return Err(
                        Failure::new(Kind::Submission, "cannot read standard input twice")
                            .mend("name - once"),
                    );
                }
                let spool = spool_standard_input()?;
                files.push(formats::look_at(spool.path(), "-")?);
                standard_input = Some(spool);
            } else if path.is_dir() {
                for file in files_of(path)? {
                    files.push(look_at(&file)?);
                }
            } else {
                files.push(look_at(path)?);
            }
        }
        Ok(Submissions {
            files,
            _standard_input: standard_input,
        })
    }
}

fn look_at(path: &Path) -> Result<SubmittedFile, Failure> {
    let name = path
        .file_name()
        .unwrap_or(path.as_os_str())
        .to_string_lossy();
    formats::look_at(path, &name)
}

fn files_of(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    let unreadable = |error| Failure::file("read", folder, error);
    let mut files = Vec::new();
    let mut passed_over = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(unreadable)? {
        let entry = entry.map_err(unreadable)?;
        let hidden = entry.file_name().to_string_lossy().starts_with('.');
        // The type of the entry itself: a link out of the folder is not followed.
        if hidden {
            continue;
        } else if entry.file_type().map_err(unreadable)?.is_file() {
            files.push(entry.path());
        } else {
            passed_over.push(entry.path());
        }
    }
    if files.is_empty() {
        return Err(
            Failure::new(Kind::Submission, format!("no file in {}", folder.display()))
                .mend("name files, or a folder that holds some; folders in it are not entered"),
        );
    }
    files.sort();
    passed_over.sort();
    for path in passed_over {
        report::note(&format!("skipped {}: not a regular file", path.display()));
    }
    Ok(files)
}

/// Standard input is kept in a private file, since a load may have to read it twice.
fn spool_standard_input() -> Result<tempfile::NamedTempFile, Failure> {
    let failed = |error| Failure::file("keep", Path::new("standard input"), error);
    let mut spool = tempfile::NamedTempFile::new().map_err(failed)?;
    std::io::copy(&mut std::io::stdin().lock(), &mut spool).map_err(failed)?;
    spool.flush().map_err(failed)?;
    Ok(spool)
}

/// What became of several submissions.
#[derive(Debug, Default, Serialize)]
pub struct Accounts {
    #[serde(flatten)]
    sum: Counts,
    submissions: Vec<SubmissionAccount>,
}

#[derive(Debug, Serialize)]
struct SubmissionAccount {
    file_name: String,
    sha256: String,
    form: String,
    bytes: u64,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    sheets_not_read: Vec<SheetNotRead>,
    #[serde(flatten)]
    counts: Counts,
    flags: BTreeMap<Code, u64>,
    flagged_records: RecordReports,
    held_records: RecordReports,
}

impl Accounts {
    /// Adds one submission.
    pub fn add(&mut self, account: Account) {
        self.sum.add(&account.counts);
        self.submissions.push(SubmissionAccount {
            file_name: account.submission.file_name,
            sha256: account.submission.sha256,
            form: account.submission.form,
            bytes: account.submission.bytes,
            sheets_not_read: account.not_read,
            counts: account.counts,
            flags: account.flags,
            flagged_records: account.flagged,
            held_records: account.held,
        });
    }

    /// Whether there is no submission.
    pub fn is_empty(&self) -> bool {
        self.submissions.is_empty()
    }

    /// The numbers over all submissions.
    pub fn sum(&self) -> &Counts {
        &self.sum
    }

    /// The account for people; `verb` is what was done: `loaded` or `checked`.
    pub(crate) fn text(&self, verb: &str) -> String {
        let mut lines = Vec::new();
        for submission in &self.submissions {
            lines.push(format!(
                "{verb} {}: {}",
                submission.file_name,
                sentence(&submission.counts)
            ));
            lines.extend(not_read_lines(submission));
            lines.extend(flag_lines(submission));
            lines.extend(held_lines(submission));
        }
        if self.submissions.len() > 1 {
            let submissions = counted(self.submissions.len() as u64, "submission", "submissions");
            lines.push(format!("{submissions}: {}", sentence(&self.sum)));
        }
        lines.join("\n")
    }
}

/// `40 received = 37 accepted + 1 duplicate + 2 held`
pub fn sentence(counts: &Counts) -> String {
    let mut text = format!(
        "{} received = {} accepted + {} duplicate + {} held",
        report::grouped(counts.received),
        report::grouped(counts.accepted),
        report::grouped(counts.duplicate),
        report::grouped(counts.held)
    );
    if counts.held_before > 0 {
        text += &format!(
            " ({} of them held before)",
            report::grouped(counts.held_before)
        );
    }
    if counts.closed > 0 {
        let closed = report::counted(counts.closed, "held record", "held records");
        text += &format!("; {closed} closed");
    }
    text
}

/// Each sheet that the mapping leaves out, though it looks like one of visits.
fn not_read_lines(submission: &SubmissionAccount) -> Vec<String> {
    let sheets = submission.sheets_not_read.iter();
    sheets
        .map(|not_read| {
            format!(
                "  not read: sheet {:?}, {} under the same headings; ignoreSheets of the mapping leaves it out",
                not_read.sheet,
                counted(not_read.rows, "row", "rows")
            )
        })
        .collect()
}

/// Each flag with its count, and the first visits of it where there is a sentence about them.
fn flag_lines(submission: &SubmissionAccount) -> Vec<String> {
    let mut lines = Vec::new();
    for (code, count) in &submission.flags {
        lines.push(format!(
            "  flag {code}: {}",
            counted(*count, "visit", "visits")
        ));
        let of_code = submission
            .flagged_records
            .first()
            .iter()
            .flat_map(|record| {
                let findings = record
                    .findings
                    .iter()
                    .filter(|finding| finding.code == *code);
                findings.map(|finding| (record.line, finding))
            });
        let listed = of_code.take(FLAGS_LISTED_MAX);
        lines.extend(listed.map(|(line, finding)| {
            format!("    line {line}: {}; {}", finding.found, finding.expected)
        }));
    }
    lines
}

fn held_lines(submission: &SubmissionAccount) -> Vec<String> {
    let mut lines = Vec::new();
    let listed = submission.held_records.first();
    for held in listed.iter().take(LISTED_MAX) {
        for finding in &held.findings {
            lines.push(format!("  held line {}: {finding}", held.line));
        }
    }
    let more = submission.counts.held.saturating_sub(LISTED_MAX as u64);
    if more > 0 {
        lines.push(format!(
            "  … and {} more held; `bractline held list` shows all",
            report::grouped(more)
        ));
    }
    lines
}
