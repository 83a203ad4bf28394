//! The sample as files: the region's boundaries, and submissions as a coordinator would get them.
//!
//! One file per week of arrival, in the formats that records come in; what comes after the scouting
//! weeks goes into a last file of late records. It gives bytes; writing them is the caller's.

use std::io::Write;

use flate2::{Compression, write::GzEncoder};

use super::landscape::Landscape;
use super::options::SampleOptions;
use super::sample_line::{Expected, ExpectedAccount, SampleLine};
use super::stream::SampleLines;
use scouting::failure::Failure;
use scouting::visit::code::Code;

/// The sample as files.
#[derive(Debug, Clone, PartialEq)]
pub struct DemoFiles {
    /// The region's boundaries as GeoJSON.
    pub region_geojson: String,
    /// The submissions, in the order of their names: load them in that order.
    pub submissions: Vec<Submission>,
}

/// One submission.
#[derive(Debug, Clone, PartialEq)]
pub struct Submission {
    /// `2026-W30.ndjson` and the like.
    pub file_name: String,
    /// The file, compressed if its name ends in `.gz`.
    pub bytes: Vec<u8>,
    /// What its receipt must say, if the files before it were loaded.
    pub expected: ExpectedAccount,
}

/// How the records of a file are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    Lines,
    LinesCompressed,
    Array,
}

impl Form {
    /// The form of a week's file, counted from the first week of scouting: one week comes
    /// compressed, one as a JSON array.
    fn of_week(week: usize) -> Self {
        match week {
            1 => Form::LinesCompressed,
            3 => Form::Array,
            _ => Form::Lines,
        }
    }

    fn ending(self) -> &'static str {
        match self {
            Form::Lines => "ndjson",
            Form::LinesCompressed => "ndjson.gz",
            Form::Array => "json",
        }
    }

    fn write(self, lines: &[SampleLine]) -> Vec<u8> {
        let records: Vec<&[u8]> = lines.iter().map(|line| line.bytes.as_slice()).collect();
        match self {
            Form::Lines => [records.join(&b"\n"[..]), b"\n".to_vec()].concat(),
            Form::LinesCompressed => compress(&Form::Lines.write(lines)),
            Form::Array => [&b"[\n"[..], &records.join(&b",\n"[..]), &b"\n]\n"[..]].concat(),
        }
    }
}

/// Makes the fictional region and its submissions. The same options give the same bytes.
///
/// # Errors
/// None that the options of [`SampleOptions`] can cause; the signature is that of the parts.
pub fn demo_files(options: &SampleOptions) -> Result<DemoFiles, Failure> {
    let landscape = Landscape::draw(options.seed);
    let mut lines: Vec<SampleLine> = SampleLines::new(&landscape.shapes(), options)?.collect();
    // Stable: lines of one visit that arrive on one day keep their order, and so their expectation.
    lines.sort_by_key(|line| line.arrives_on);
    let submissions = lines
        .chunk_by(|a, b| a.arrives_on.year() == b.arrives_on.year())
        .flat_map(|season| submissions_of_season(season, options))
        .collect();
    Ok(DemoFiles {
        region_geojson: landscape.geojson(),
        submissions,
    })
}

/// A season's submissions; `lines` in the order of arrival, at least one.
fn submissions_of_season(lines: &[SampleLine], options: &SampleOptions) -> Vec<Submission> {
    let year = lines[0].arrives_on.year();
    let late = options.weeks as usize;
    let mut weeks: Vec<Vec<SampleLine>> = vec![Vec::new(); late + 1];
    for line in lines {
        let week = line.arrives_on.iso_week_date().week() - options.first_week;
        let week = (week as usize).min(late);
        // One line that is no JSON would spoil a whole array: it comes in the file after.
        let spoils = Form::of_week(week) == Form::Array
            && week < late
            && line.expected == Expected::Held(Code::NotJson);
        weeks[week + usize::from(spoils)].push(line.clone());
    }
    weeks
        .iter()
        .enumerate()
        .filter(|(_, lines)| !lines.is_empty())
        .map(|(week, lines)| {
            let (name, form) = if week == late {
                ("late".to_owned(), Form::Lines)
            } else {
                let iso_week = options.first_week as usize + week;
                (format!("W{iso_week:02}"), Form::of_week(week))
            };
            Submission {
                file_name: format!("{year}-{name}.{}", form.ending()),
                bytes: form.write(lines),
                expected: lines.iter().map(|line| line.expected).collect(),
            }
        })
        .collect()
}

fn compress(bytes: &[u8]) -> Vec<u8> {
    // The header holds no name and no time, so the same lines give the same file.
    let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
    encoder
        .write_all(bytes)
        .and_then(|()| encoder.finish())
        .expect("writing to memory does not fail")
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;
    use std::io::Read;
    use std::path::{Path, PathBuf};

    use geo::{Contains, Point};

    use super::*;
    use crate::demo::fields::point_of;
    use scouting::visit::record::Visit;

    /// The season that is committed under `sample_data/`.
    const COMMITTED_SEASON: &str = "2026";

    fn sample() -> DemoFiles {
        demo_files(&SampleOptions::default()).expect("the fictional region has counties")
    }

    fn records(submission: &Submission) -> Vec<Vec<u8>> {
        let mut bytes = submission.bytes.clone();
        if submission.file_name.ends_with(".gz") {
            bytes.clear();
            flate2::read::GzDecoder::new(submission.bytes.as_slice())
                .read_to_end(&mut bytes)
                .expect("a gzip file");
        }
        if submission.file_name.ends_with(".json") {
            let text = std::str::from_utf8(&bytes).expect("an array in UTF-8");
            let array: Vec<&serde_json::value::RawValue> =
                serde_json::from_str(text).expect("a JSON array");
            array
                .iter()
                .map(|record| record.get().as_bytes().to_vec())
                .collect()
        } else {
            let text = bytes.strip_suffix(b"\n").expect("a last line end");
            text.split(|byte| *byte == b'\n')
                .map(<[u8]>::to_vec)
                .collect()
        }
    }

    #[test]
    fn the_same_options_give_the_same_bytes() {
        assert!(sample() == sample());
    }

    #[test]
    fn every_file_holds_as_many_records_as_its_account_says() {
        for submission in sample().submissions {
            let account = &submission.expected;
            assert_eq!(records(&submission).len(), account.received);
            assert_eq!(
                account.received,
                account.accepted + account.duplicate + account.held_in_all(),
                "{}",
                submission.file_name
            );
        }
    }

    #[test]
    fn loading_in_the_order_of_names_is_the_order_of_arrival() {
        let names: Vec<String> = sample()
            .submissions
            .into_iter()
            .map(|submission| submission.file_name)
            .collect();
        assert!(names.is_sorted(), "{names:?}");
        for ending in [".ndjson", ".ndjson.gz", ".json", "-late.ndjson"] {
            let files = names.iter().filter(|name| name.ends_with(ending)).count();
            assert!(files >= 3, "each season has a file that ends in {ending}");
        }
    }

    #[test]
    fn the_demo_shows_every_reason_for_holding() {
        let codes: BTreeSet<Code> = sample()
            .submissions
            .iter()
            .flat_map(|submission| submission.expected.held.keys().copied())
            .collect();
        let wanted = BTreeSet::from([
            Code::CountsPerHeadWrong,
            Code::DateAfterSubmission,
            Code::DateOutsideSeason,
            Code::DuplicateMember,
            Code::MarketValueImplausible,
            Code::MemberMissing,
            Code::MemberUnknown,
            Code::NotJson,
            Code::OutOfRange,
            Code::OutsideRegion,
            Code::ProtocolUnknown,
            Code::RevisionConflict,
            Code::StageUnknown,
            Code::TreatmentCostImplausible,
            Code::WrongForm,
            Code::WrongType,
        ]);
        assert_eq!(codes, wanted);
    }

    #[test]
    fn the_demo_stays_small() {
        let bytes: usize = sample()
            .submissions
            .iter()
            .flat_map(records)
            .map(|record| record.len() + 1)
            .sum();
        assert!((500_000..2_000_000).contains(&bytes), "{bytes} bytes");
    }

    fn sample_data() -> PathBuf {
        Path::new(env!("CARGO_MANIFEST_DIR")).join("sample_data")
    }

    /// `BLESS=1 cargo test committed_sample` writes the folder anew after a change of the generator.
    #[test]
    fn the_committed_sample_is_what_the_generator_makes() {
        let files = sample();
        let folder = sample_data().join("submissions");
        let season: Vec<&Submission> = files
            .submissions
            .iter()
            .filter(|submission| submission.file_name.starts_with(COMMITTED_SEASON))
            .collect();
        if std::env::var_os("BLESS").is_some() {
            std::fs::create_dir_all(&folder).expect("sample_data can be written");
            std::fs::write(sample_data().join("region.geojson"), &files.region_geojson)
                .expect("sample_data can be written");
            for submission in &season {
                std::fs::write(folder.join(&submission.file_name), &submission.bytes)
                    .expect("sample_data can be written");
            }
        }
        let region = std::fs::read_to_string(sample_data().join("region.geojson"))
            .expect("the committed region");
        assert!(
            region == files.region_geojson,
            "sample_data/region.geojson is stale"
        );
        let committed: BTreeSet<String> = std::fs::read_dir(&folder)
            .expect("the committed submissions")
            .map(|entry| {
                let name = entry.expect("a folder entry").file_name();
                name.into_string().expect("a name in UTF-8")
            })
            .collect();
        let made: BTreeSet<String> = season
            .iter()
            .map(|submission| submission.file_name.clone())
            .collect();
        assert_eq!(committed, made);
        let readme =
            std::fs::read_to_string(sample_data().join("README.md")).expect("the committed README");
        for submission in season {
            let account = &submission.expected;
            let row = format!(
                "| {} | {} | {} | {} |",
                account.received,
                account.accepted,
                account.duplicate,
                account.held_in_all()
            );
            assert!(
                readme
                    .lines()
                    .any(|line| line.contains(&submission.file_name) && line.ends_with(&row)),
                "sample_data/README.md should say of {}: {row}",
                submission.file_name
            );
            let committed = Submission {
                bytes: std::fs::read(folder.join(&submission.file_name)).expect("a listed file"),
                ..submission.clone()
            };
            // Contents, not compressed bytes: those may change with the compressor's version.
            assert!(
                records(&committed) == records(submission),
                "sample_data/submissions/{} is stale",
                submission.file_name
            );
        }
    }

    #[test]
    fn the_one_visit_to_look_at_is_a_good_one() {
        let text = std::fs::read_to_string(sample_data().join("one_visit.json"))
            .expect("the committed example");
        let visit: Visit = serde_json::from_str(&text).expect("a visit");
        assert!(visit.conforms());
        let point = Point::from(point_of(&visit.field));
        let landscape = Landscape::draw(SampleOptions::default().seed);
        let county = landscape
            .counties
            .iter()
            .find(|county| county.shape.contains(&point))
            .expect("the example is in the fictional region");
        assert_eq!(
            visit.field.county_id.as_deref(),
            Some(county.county_id.as_str())
        );
    }
}
