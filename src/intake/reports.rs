//! The reports of held records, for the account that a person reads.
//!
//! A wrong file can hold ten million records, so only the first thousand reports stay in memory;
//! the others wait in a file of their own until they are read out.

use std::fs::File;
use std::io::{BufRead, BufReader, BufWriter, Seek, Write};
use std::path::Path;

use serde::ser::{Error, SerializeSeq, Serializer};
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;

use crate::failure::Failure;
use crate::visit::finding::Finding;

/// Reports that stay in memory.
const IN_MEMORY_MAX: usize = 1_000;

/// A held record, for the report.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct HeldReport {
    /// Line of the submission, or place among the records of a JSON text, from 1.
    pub line: u64,
    /// Identity of the visit, if it could be read.
    pub visit_id: Option<String>,
    /// Why it is held.
    pub findings: Vec<Finding>,
}

/// Every held record of a submission with its reasons; serialises as a list.
#[derive(Debug, Default)]
pub struct HeldReports {
    first: Vec<HeldReport>,
    /// The others, one a line.
    others: Option<BufWriter<File>>,
}

impl HeldReports {
    /// Adds the report of one more record.
    pub fn add(&mut self, report: HeldReport) -> Result<(), Failure> {
        if self.first.len() < IN_MEMORY_MAX {
            self.first.push(report);
            return Ok(());
        }
        self.set_aside(&report)
            .map_err(|error| Failure::file("keep", Path::new("the reports"), &error))
    }

    /// The first thousand reports.
    pub fn first(&self) -> &[HeldReport] {
        &self.first
    }

    fn set_aside(&mut self, report: &HeldReport) -> std::io::Result<()> {
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
                .map_err(|error| Failure::file("keep", Path::new("the reports"), &error)),
            None => Ok(()),
        }
    }
}

impl Serialize for HeldReports {
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
            let mut reports = HeldReports::default();
            for line in 1..=count {
                let report = HeldReport {
                    line,
                    visit_id: None,
                    findings: Vec::new(),
                };
                reports.add(report).unwrap();
            }
            reports.end().unwrap();
            let text = serde_json::to_string(&reports).unwrap();
            let read: Vec<HeldReport> = serde_json::from_str(&text).unwrap();
            let lines: Vec<u64> = read.iter().map(|report| report.line).collect();
            assert_eq!(lines, (1..=count).collect::<Vec<u64>>());
        }
    }
}
