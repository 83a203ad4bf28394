//! The submissions that a person named: files, folders of them, or standard input; and the account of
//! what became of them.

use std::collections::BTreeMap;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use serde::Serialize;
use tempfile::{NamedTempFile, TempDir};

use crate::load::account::Account;
use crate::load::inbox::collect;
use crate::load::inbox::files_table::{PassedOverFile, RefusedFile, files_table};
use crate::load::inbox::found::{Found, What};
use crate::load::preview::Preview;
use crate::load::preview_table::{column_lines, visit_lines};
use crate::load::reports::RecordReports;
use crate::shared::report;
use crate::shared::report::{LISTED_MAX, counted};
use crate::shared::tables::csv_of;
use intake::mapping::id_prefixes::IdPrefixes;
use intake::mapping::{ColumnUse, SheetNotRead};
use intake::read::formats::look_at;
use intake::read::not_read::ColumnNotRead;
use intake::read::submitted::SubmittedFile;
use scouting::failure::{Failure, Kind};
use scouting::visit::code::Code;
use store::rows::receipt::Counts;

/// Visits of a flag that a text report lists; the JSON report lists all.
const FLAGS_LISTED_MAX: usize = 3;

/// The named submissions, looked at; standard input and what was packed wait in files of their own until this is dropped.
pub(crate) struct Submissions {
    /// In the order of loading.
    pub(crate) found: Vec<Found>,
    _standard_input: Option<NamedTempFile>,
    _unpacked: Vec<TempDir>,
}

impl Submissions {
    /// Looks at everything that was named before anything is loaded, so that a wrong name changes
    /// nothing. Files of a folder come in the order of their names.
    pub(crate) fn look_at(named: &[PathBuf]) -> Result<Submissions, Failure> {
        let mut found = Vec::new();
        let mut unpacked = Vec::new();
        let mut standard_input = None;
        for path in named {
            if path.as_os_str() != "-" {
                found.extend(collect(path, &mut unpacked)?);
                continue;
            }
            if standard_input.is_some() {
                return Err(
                    Failure::new(Kind::Submission, "cannot read standard input twice")
                        .mend("name - once"),
                );
            }
            let spool = spool_standard_input()?;
            let file = look_at(spool.path(), "-")?;
            found.push(Found {
                name: file.name.clone(),
                within: PathBuf::new(),
                what: What::Submission {
                    file,
                    mappings: Arc::from([]),
                },
            });
            standard_input = Some(spool);
        }
        Ok(Submissions {
            found,
            _standard_input: standard_input,
            _unpacked: unpacked,
        })
    }

    /// The first file that is loaded.
    ///
    /// # Errors
    /// If there is none: why the first of them is refused.
    pub(crate) fn first_or_refusal(&self) -> Result<&SubmittedFile, Failure> {
        let file = self.found.iter().find_map(|found| match &found.what {
            What::Submission { file, .. } => Some(file),
            What::PassedOver(_) | What::Refused(_) => None,
        });
        let refusal = self.found.iter().find_map(|found| match &found.what {
            What::Refused(failure) => Some(failure.clone()),
            What::PassedOver(_) | What::Submission { .. } => None,
        });
        let none = || {
            Failure::new(
                Kind::Submission,
                "none of the files holds records or a table",
            )
        };
        file.ok_or_else(|| refusal.unwrap_or_else(none))
    }
}

/// Standard input is kept in a private file, since a load may have to read it twice.
fn spool_standard_input() -> Result<NamedTempFile, Failure> {
    let failed = |error| Failure::file("keep", Path::new("standard input"), error);
    let mut spool = NamedTempFile::new().map_err(failed)?;
    std::io::copy(&mut std::io::stdin().lock(), &mut spool).map_err(failed)?;
    spool.flush().map_err(failed)?;
    Ok(spool)
}

/// What became of several submissions.
#[derive(Debug, Default, Serialize)]
pub(crate) struct Accounts {
    #[serde(flatten)]
    sum: Counts,
    submissions: Vec<SubmissionAccount>,
    refused: Vec<RefusedFile>,
    passed_over: Vec<PassedOverFile>,
}

#[derive(Debug, Serialize)]
struct SubmissionAccount {
    file_name: String,
    sha256: String,
    form: String,
    bytes: u64,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    sheets_not_read: Vec<SheetNotRead>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    columns_not_read: Vec<ColumnNotRead>,
    #[serde(skip_serializing_if = "IdPrefixes::is_none")]
    id_prefixes: IdPrefixes,
    #[serde(flatten)]
    counts: Counts,
    flags: BTreeMap<Code, u64>,
    flagged_records: RecordReports,
    held_records: RecordReports,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    columns: Vec<ColumnUse>,
    #[serde(flatten, skip_serializing_if = "Option::is_none")]
    preview: Option<Preview>,
}

impl Accounts {
    /// Adds one submission.
    pub(crate) fn add(&mut self, account: Account) {
        self.sum.add(&account.counts);
        self.submissions.push(SubmissionAccount {
            file_name: account.submission.file_name,
            sha256: account.submission.sha256,
            form: account.submission.form,
            bytes: account.submission.bytes,
            sheets_not_read: account.not_read.sheets,
            columns_not_read: account.not_read.columns,
            id_prefixes: account.id_prefixes,
            counts: account.counts,
            flags: account.flags,
            flagged_records: account.flagged,
            held_records: account.held,
            columns: account.columns,
            preview: account.preview,
        });
    }

    /// Adds a file that could not be loaded.
    pub(crate) fn refuse(&mut self, name: &str, failure: &Failure) {
        self.refused.push(RefusedFile::new(name, failure));
    }

    /// Adds a file that holds no records.
    pub(crate) fn pass_over(&mut self, name: &str, what: &str) {
        self.passed_over.push(PassedOverFile::new(name, what));
    }

    /// Whether no submission was loaded.
    pub(crate) fn is_empty(&self) -> bool {
        self.submissions.is_empty()
    }

    /// Files that could not be loaded.
    pub(crate) fn refused_count(&self) -> u64 {
        self.refused.len() as u64
    }

    /// Why the only file could not be loaded, if there was only one.
    pub(crate) fn only_refusal(&self) -> Option<Failure> {
        let refused = self.refused.first()?;
        (self.file_count() == 1).then(|| refused.failure())
    }

    /// How many files there were, whatever became of them.
    pub(crate) fn file_count(&self) -> usize {
        self.submissions.len() + self.refused.len() + self.passed_over.len()
    }

    /// The numbers over all submissions.
    pub(crate) fn sum(&self) -> &Counts {
        &self.sum
    }

    /// The account for people; `verb` is what was done: `loaded` or `checked`.
    pub(crate) fn text(&self, verb: &str) -> String {
        let mut lines = Vec::new();
        for submission in &self.submissions {
            lines.extend(preview_lines(submission));
            lines.push(format!(
                "{verb} {}: {}",
                submission.file_name,
                sentence(&submission.counts)
            ));
            lines.extend(not_read_lines(submission));
            lines.extend(prefix_lines(&submission.id_prefixes));
            lines.extend(flag_lines(submission));
            lines.extend(held_lines(submission));
        }
        lines.extend(self.refused.iter().flat_map(RefusedFile::lines));
        if self.file_count() > 1 {
            let loaded: Vec<_> = self
                .submissions
                .iter()
                .map(|submission| (submission.file_name.as_str(), &submission.counts))
                .collect();
            lines.push(String::new());
            lines.extend(files_table(&loaded, &self.refused, &self.passed_over));
            lines.push(String::new());
            lines.push(self.last_line());
        }
        lines.join("\n")
    }
}

impl Accounts {
    /// The first records of all submissions as CSV, each with the name of its file.
    ///
    /// # Errors
    /// If the table cannot be written.
    pub(crate) fn rows_csv(&self) -> Result<String, Failure> {
        let submissions = self.submissions.iter();
        let rows = submissions
            .flat_map(|submission| submission.preview.iter().flat_map(Preview::disarmed));
        let bytes = csv_of(rows)?;
        Ok(String::from_utf8_lossy(&bytes).into_owned())
    }

    /// All files in one line.
    fn last_line(&self) -> String {
        let submissions = counted(self.submissions.len() as u64, "submission", "submissions");
        let mut line = format!("{submissions}: {}", sentence(&self.sum));
        let others = [
            (self.refused.len(), "refused"),
            (self.passed_over.len(), "passed over"),
        ];
        for (files, what) in others.into_iter().filter(|(files, _)| *files > 0) {
            let files = counted(files as u64, "file", "files");
            line += &format!("; {files} {what}");
        }
        line
    }
}

/// `40 received = 37 accepted + 1 duplicate + 2 held`
pub(crate) fn sentence(counts: &Counts) -> String {
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

/// What becomes of each column, and the first records.
fn preview_lines(submission: &SubmissionAccount) -> Vec<String> {
    let Some(preview) = &submission.preview else {
        return Vec::new();
    };
    let mut lines = column_lines(&submission.columns);
    if !lines.is_empty() {
        lines.push(String::new());
    }
    lines.extend(visit_lines(preview, submission.counts.received));
    lines.push(String::new());
    lines
}

/// Each sheet that the mapping leaves out, though it looks like one of visits, and each column that is none of ours.
fn not_read_lines(submission: &SubmissionAccount) -> Vec<String> {
    let sheets = submission.sheets_not_read.iter().map(|not_read| {
        format!(
            "  not read: sheet {:?}, {} under the same headings; ignoreSheets of the mapping leaves it out",
            not_read.sheet,
            counted(not_read.rows, "row", "rows")
        )
    });
    let columns = submission.columns_not_read.iter().map(|not_read| {
        let of_sheet = match not_read.sheet.as_str() {
            "" => String::new(),
            sheet => format!(" of the sheet {sheet:?}"),
        };
        let heading = match not_read.heading.as_str() {
            "" => "without a heading".to_owned(),
            heading => format!("{heading:?}"),
        };
        format!(
            "  not read: column {} {heading}{of_sheet}, which the sheet was not made with",
            not_read.column
        )
    });
    sheets.chain(columns).collect()
}

/// What was put before ids.
fn prefix_lines(prefixes: &IdPrefixes) -> Vec<String> {
    let put = [("fields", &prefixes.field), ("scouts", &prefixes.scout)];
    put.into_iter()
        .filter(|(_, prefix)| !prefix.is_empty())
        .map(|(ids, prefix)| {
            format!("  prefix {prefix:?}: before the ids of {ids} that do not begin with it")
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
        let listed_max = match code {
            // What takes another record's place is to be seen.
            Code::SupersedesRevision => LISTED_MAX,
            _ => FLAGS_LISTED_MAX,
        };
        let listed = of_code.take(listed_max);
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
