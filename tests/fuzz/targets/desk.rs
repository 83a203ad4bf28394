//! A workspace's loader for one input after the other: what `check` does with a submission, and what its account must be.

use std::cell::RefCell;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

use bractline::load::account::Account;
use bractline::load::loader::Loader;
use intake::judge::judging::{Judge, Judged};
use intake::judge::validate::VISIT_SCHEMA;
use intake::mapping::Mapping;
use intake::mapping::id_prefixes::SenderPrefixes;
use intake::read::formats::look_at;
use intake::read::reader::RecordReader;
use intake::read::submitted::SubmittedFile;
use jsonschema::Validator;
use scouting::failure::Failure;
use scouting::protocol::catalogue::Catalogue;
use scouting::region::Region;
use scouting::visit::finding::Finding;
use scouting::visit::rules::limits::SeasonDays;
use serde_json::Value;
use store::delta::tables::Store;
use tempfile::TempDir;

/// A loader remembers what it saw; after so many inputs a new one begins.
const INPUTS_OF_A_LOADER: usize = 500;

/// The public contract of a visit, as any other program would read it.
pub static VISIT: LazyLock<Validator> = LazyLock::new(|| {
    let schema: Value = serde_json::from_str(VISIT_SCHEMA).expect("the schema is JSON");
    jsonschema::draft202012::options()
        .should_validate_formats(true)
        .build(&schema)
        .expect("the schema is a schema")
});

thread_local! {
    static DESK: RefCell<Desk> = RefCell::new(Desk::open());
}

struct Desk {
    runtime: tokio::runtime::Runtime,
    folder: TempDir,
    store: Store,
    judge: Judge,
    loader: Option<Loader>,
    inputs: usize,
}

impl Desk {
    fn open() -> Desk {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .expect("a runtime");
        let folder = tempfile::tempdir().expect("a temporary folder");
        let store = Store::in_folder(&folder.path().join("store")).expect("a path");
        runtime.block_on(store.create()).expect("a store");
        Desk {
            runtime,
            folder,
            store,
            judge: judge(),
            loader: None,
            inputs: 0,
        }
    }

    fn file(&self, bytes: &[u8]) -> PathBuf {
        let path = self.folder.path().join("input");
        std::fs::write(&path, bytes).expect("an input");
        path
    }

    fn account(&mut self, file: &SubmittedFile, mapping: Option<Mapping>) -> Account {
        self.inputs += 1;
        if self.inputs.is_multiple_of(INPUTS_OF_A_LOADER) {
            self.loader = None;
        }
        let mut loader = match self.loader.take() {
            Some(loader) => loader,
            None => {
                let new = Loader::new(self.store.clone(), judge(), Vec::new(), 1);
                self.runtime.block_on(new).expect("a loader")
            }
        };
        loader.use_mapping(mapping);
        let account = self.runtime.block_on(loader.check(file, moment()));
        let account = account.expect("what can be read can be checked");
        self.loader = Some(loader);
        account
    }
}

fn moment() -> jiff::Timestamp {
    "2026-08-01T12:00:00Z".parse().expect("a moment")
}

fn judge() -> Judge {
    static REGION: LazyLock<Region> =
        LazyLock::new(|| Region::built_in("us:46").expect("a built-in region"));
    static CATALOGUE: LazyLock<Catalogue> = LazyLock::new(|| {
        Catalogue::read(None, store::stages::expression::plan).expect("the built-in protocols")
    });
    let season = SeasonDays {
        first: (5, 1),
        last: (10, 31),
    };
    let judge = Judge::new(&CATALOGUE, REGION.clone(), season, Default::default());
    judge.expect("a judge")
}

/// The submission that these bytes are, if they are one; what refuses them says so in words.
pub fn submission(bytes: &[u8]) -> Option<SubmittedFile> {
    DESK.with_borrow(|desk| reported(look_at(&desk.file(bytes), "input")))
}

/// What is seen of these bytes in a file.
pub fn on_the_disk<T>(bytes: &[u8], see: impl FnOnce(&Path) -> T) -> T {
    DESK.with_borrow(|desk| see(&desk.file(bytes)))
}

/// What a failure must say; the result without it.
pub fn reported<T>(result: Result<T, Failure>) -> Option<T> {
    result
        .map_err(|failure| {
            let words = failure.to_string();
            assert!(!words.trim().is_empty(), "a failure without a word");
            assert!(
                words.len() < 20_000,
                "a failure of {} bytes: {words:.200}",
                words.len()
            );
        })
        .ok()
}

/// Reads a submission twice, record by record and as `check` does, and holds one to the other.
///
/// `each` sees every record that was read before it is judged: its bytes.
pub fn hold_to_its_records(
    file: &SubmittedFile,
    mapping: Option<&Mapping>,
    each: &mut dyn FnMut(&[u8]),
) {
    let Some((records, sound)) = judged(file, mapping, each) else {
        return;
    };
    let account = DESK.with_borrow_mut(|desk| desk.account(file, mapping.cloned()));
    let counts = account.counts;
    assert_eq!(
        counts.received,
        counts.accepted + counts.duplicate + counts.held,
        "{counts:?}"
    );
    assert_eq!(counts.received, records, "every record that was read");
    // A sound record is held only where it meets another of the same revision.
    assert!(counts.accepted + counts.duplicate <= sound, "{counts:?}");
    assert!(counts.held_before <= counts.held, "{counts:?}");
    let held = account.held.first();
    assert_eq!(
        held.len() as u64,
        counts.held.min(1_000),
        "each held record is reported"
    );
    let mut line = 0;
    for report in held {
        assert!(report.line > line || mapping.is_some() || file.form.is_table());
        line = report.line;
        hold_findings(&report.findings);
    }
}

/// How many records a submission has, and how many of them are sound; nothing if it cannot be read.
fn judged(
    file: &SubmittedFile,
    mapping: Option<&Mapping>,
    each: &mut dyn FnMut(&[u8]),
) -> Option<(u64, u64)> {
    let (mut records, mut sound) = (0, 0);
    for chunk in reported(RecordReader::open(file, mapping))? {
        for raw in reported(chunk)? {
            records += 1;
            each(&raw.kept());
            match DESK.with_borrow(|desk| desk.judge.judge(raw, &SenderPrefixes::default())) {
                Judged::Sound(row, _) => {
                    sound += 1;
                    let visit = serde_json::to_value(&row.visit).expect("a visit is JSON");
                    assert!(
                        VISIT.is_valid(&visit),
                        "accepted, but not by the schema: {visit}"
                    );
                }
                Judged::Unsound(row) => hold_findings(&row.findings),
            }
        }
    }
    Some((records, sound))
}

/// Each says what, where and what would be right, and is short enough to be read.
fn hold_findings(findings: &[Finding]) {
    assert!(!findings.is_empty(), "a record is held without a reason");
    for finding in findings {
        assert!(
            finding
                .code
                .as_str()
                .bytes()
                .all(|byte| matches!(byte, b'a'..=b'z' | b'0'..=b'9' | b'-')),
            "{finding:?}"
        );
        assert_ne!(finding.code.as_str(), "not-representable", "{finding:?}");
        assert!(!finding.expected.is_empty(), "{finding:?}");
        assert!(
            finding.pointer.is_empty() || finding.pointer.starts_with('/'),
            "{finding:?}"
        );
        assert!(
            finding.pointer.len() < 2_000 && finding.found.len() < 2_000,
            "{finding:?}"
        );
    }
}
