//! The reports of held and of doubtful records, for the account that a person reads.
//!
//! A wrong file can hold ten million records, so only the first thousand reports stay in memory;
//! the others wait in a file of their own until they are read out.

use std::fs::File;
use std::io::{BufRead, BufReader, BufWriter, Seek, Write};
use std::path::Path;

use serde::ser::{Error, SerializeSeq, Serializer};
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;

use scouting::failure::Failure;
use scouting::visit::finding::Finding;

/// Reports that stay in memory.
const IN_MEMORY_MAX: usize = 1_000;

/// A record of which something is said, for the report.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct RecordReport {
    /// Line of the submission, or place among the records of a JSON text, from 1.
    pub line: u64,
    /// Identity of the visit, if it could be read.
    pub visit_id: Option<String>,
    /// Why it is held, or what is doubtful about it.
    pub findings: Vec<Finding>,
}

/// Every record of a submission of which something is said; serializes as a list.
#[derive(Debug, Default)]
pub struct RecordReports {
    first: Vec<RecordReport>,
    /// The others, one a line.
    others: Option<BufWriter<File>>,
}

impl RecordReports {
    /// Adds the report of one more record.
    pub fn add(&mut self, report: RecordReport) -> Result<(), Failure> {
        if self.first.len() < IN_MEMORY_MAX {
            self.first.push(report);
            return Ok(());
        }
        self.set_aside(&report)
            .map_err(|error| Failure::file("keep", Path::new("the reports"), error))
    }

    /// The first thousand reports.
    pub fn first(&self) -> &[RecordReport] {
        &self.first
    }

    fn set_aside(&mut self, report: &RecordReport) -> std::io::Result<()> {
        let others = match &mut self.others {
            Some(others) => others,
            none => none.insert(BufWriter::new(tempfile::tempfile()?)),
        };
        serde_json::to_writer(&mut *others, report)?;
        others.write_all(b"\n")
    }

    /// Everything was added: what waits in the file can be read.
    pub fn end(&mut self) -> Result<(), Failure> {
        match &mut self.others {
            Some(others) => others
                .flush()
                .map_err(|error| Failure::file("keep", Path::new("the reports"), error)),
            None => Ok(()),
        }
    }
}

impl Serialize for RecordReports {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut list = serializer.serialize_seq(None)?;
        for report in &self.first {
            list.serialize_element(report)?;
        }
        if let Some(others) = &self.others {
            let mut file = others.get_ref();
            file.rewind().map_err(S::Error::custom)?;
            for line in BufReader::new(file).lines() {
                let line = line.map_err(S::Error::custom)?;
                let report: &RawValue = serde_json::from_str(&line).map_err(S::Error::custom)?;
                list.serialize_element(report)?;
            }
        }
        list.end()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_report_is_read_out_in_order_however_many() {
        for count in [0, 1, 999, 1_000, 1_001, 3_000] {
            let mut reports = RecordReports::default();
            for line in 1..=count {
                let report = RecordReport {
                    line,
                    visit_id: None,
                    findings: Vec::new(),
                };
                reports.add(report).unwrap();
            }
            reports.end().unwrap();
            let text = serde_json::to_string(&reports).unwrap();
            let read: Vec<RecordReport> = serde_json::from_str(&text).unwrap();
            let lines: Vec<u64> = read.iter().map(|report| report.line).collect();
            assert_eq!(lines, (1..=count).collect::<Vec<u64>>());
        }
    }
}
