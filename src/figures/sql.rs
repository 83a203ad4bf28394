//! A query over the kept tables and the roll-up tables, and nothing else.
//!
//! The query runs on threads of its own, so that one that does not end, or that takes more memory than the
//! engine accounts for, is left behind when the program ends.

use std::path::PathBuf;
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::{Duration, Instant};

use crate::figures::rolled_up::Figures;
use crate::shared::files::{write_file, write_private_file};
use crate::shared::report;
use crate::workspace::Workspace;
use crate::workspace::open::{open_store, workers};
use scouting::failure::{Failure, Kind};
use store::delta::query::{Answer, CURRENT_VISITS, Query, ReadOnly, too_much};
use store::delta::tables::Store;
use store::public::public_rows::Publishing;
use store::rows::schema::Kept;
use store::stages::files::public_stages;
use store::stages::rollup::StageTable;
use store::stages::wanted::FINISHED;

/// How often it is looked whether a query has had enough.
const LOOK_EVERY: Duration = Duration::from_millis(20);
/// What the program takes in addition to the query's own memory.
const BESIDE_BYTES: u64 = 256 << 20;
/// Stack of the threads that plan and compute: the deepest expression that fits into a query is met by recursion. Only
/// what is used of it takes memory.
const STACK_BYTES: usize = 256 << 20;
/// What an answer of private tables says, on stderr and in the file.
const PRIVATE: &str = "this answer is based on private tables; it may identify a field";
/// Name of the threads that plan and compute a query, by which a panic there is known.
pub(crate) const THREAD_NAME: &str = "sql";

/// What is asked, and what it may cost.
pub(crate) struct Question {
    /// One SELECT statement.
    pub(crate) query: String,
    /// Memory limit of the query, in megabytes.
    pub(crate) memory_mb: u32,
    /// Query timeout, in seconds.
    pub(crate) seconds: u32,
    /// The version of the store; the newest if `None`.
    pub(crate) store_version: Option<i64>,
    /// How the answer is written.
    pub(crate) form: AnswerForm,
    /// The file that it is written to; if none, it is text that is returned.
    pub(crate) out: Option<PathBuf>,
}

/// How an answer is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum AnswerForm {
    /// A table for people.
    Text,
    /// JSON array of objects.
    Json,
    /// CSV with a header line, each text as it is stored.
    Csv,
    /// A Parquet file.
    Parquet,
    /// An Arrow file.
    Arrow,
}

impl AnswerForm {
    fn is_file(self) -> bool {
        matches!(self, AnswerForm::Parquet | AnswerForm::Arrow)
    }
}

/// The answer to a query, as text; `None` where it was written to a file.
///
/// # Errors
/// A [`Failure`] if the query is no SELECT of known tables, or takes more than it may, or the file cannot be written.
pub(crate) async fn answer(
    workspace: &Workspace,
    asked: &Question,
) -> Result<Option<String>, Failure> {
    if asked.form.is_file() && asked.out.is_none() {
        return Err(Failure::new(
            Kind::Settings,
            "Parquet and Arrow are files of bytes, and no file is named",
        )
        .at("--format")
        .mend("name the file with --out FILE"));
    }
    let query = Query::read(&asked.query)?;
    let public = names_of_public_tables()?;
    check_names(&query.tables, &public)?;
    let store = open_store(workspace).await?;
    let is_public = |name: &String| public.contains(name);
    let is_rolled_up = |name: &String| FINISHED.contains(&&**name) || is_public(name);
    let rolled_up = match query.tables.iter().any(is_rolled_up) {
        true => rolled_up(
            &Figures::of_version(workspace, asked.store_version, &Publishing::Nothing).await?,
            &public,
        ),
        false => Vec::new(),
    };
    let is_private = !query.tables.iter().all(is_public);
    if is_private {
        report::note(&format!("note: {PRIVATE}"));
    }
    let answered = answered(asked, store, query, rolled_up, is_private)?;
    match &asked.out {
        None => String::from_utf8(answered)
            .map(Some)
            .map_err(|error| Failure::because(Kind::Settings, "cannot show the answer", error)),
        Some(out) if is_private => write_private_file(out, &answered).map(|()| None),
        Some(out) => write_file(out, &answered).map(|()| None),
    }
}

/// The answer as bytes, within the limits.
fn answered(
    asked: &Question,
    store: Store,
    query: Query,
    rolled_up: Vec<StageTable>,
    is_private: bool,
) -> Result<Vec<u8>, Failure> {
    let version = asked.store_version;
    let is_line = asked.out.is_some();
    let (form, memory) = (asked.form, u64::from(asked.memory_mb) << 20);
    let memory_bytes = usize::try_from(memory).unwrap_or(usize::MAX);
    let (sender, receiver) = channel();
    let not_started = |error: std::io::Error| Failure::because(Kind::Files, "cannot start", error);
    std::thread::Builder::new()
        .name(THREAD_NAME.to_owned())
        .stack_size(STACK_BYTES)
        .spawn(move || {
            let answered = tokio::runtime::Builder::new_multi_thread()
                .enable_all()
                .thread_name(THREAD_NAME)
                .thread_stack_size(STACK_BYTES)
                .build()
                .map_err(not_started)
                .and_then(|runtime| {
                    runtime.block_on(async {
                        let tables =
                            ReadOnly::open(&store, version, memory_bytes, workers()).await?;
                        for StageTable { stage, batch } in &rolled_up {
                            tables.add(&stage.table, batch)?;
                        }
                        tables.answer(query).await
                    })
                })
                .and_then(|answer| written(&answer, form, is_private))
                .map(|bytes| with_end(bytes, is_line && !form.is_file()));
            // Nobody waits for it any more if the time is over.
            let _ = sender.send(answered);
        })
        .map_err(not_started)?;
    wait(&receiver, asked.seconds, memory + BESIDE_BYTES)
}

fn wait(
    receiver: &Receiver<Result<Vec<u8>, Failure>>,
    seconds: u32,
    resident_max: u64,
) -> Result<Vec<u8>, Failure> {
    let end = Instant::now() + Duration::from_secs(u64::from(seconds));
    loop {
        match receiver.recv_timeout(LOOK_EVERY) {
            Ok(answered) => return answered,
            Err(RecvTimeoutError::Disconnected) => {
                return Err(Failure::new(
                    Kind::Settings,
                    "the query broke the engine: most often a text or a list in it became too long",
                )
                .mend("ask for shorter texts, or for fewer rows at a time; nothing was changed"));
            }
            Err(RecvTimeoutError::Timeout) => {}
        }
        if Instant::now() >= end {
            let seconds = report::counted(u64::from(seconds), "second", "seconds");
            return Err(too_much(&format!("it took more than {seconds}")));
        }
        if resident_bytes().is_some_and(|bytes| bytes > resident_max) {
            return Err(too_much("it needs more memory than it may use"));
        }
    }
}

/// The tables that are based on public rows alone.
fn names_of_public_tables() -> Result<Vec<String>, Failure> {
    let stages = public_stages()?.into_iter();
    Ok(stages.map(|stage| stage.table).collect())
}

fn check_names(tables: &[String], public: &[String]) -> Result<(), Failure> {
    let kept = Kept::ALL.map(Kept::name);
    let names = kept.into_iter().chain([CURRENT_VISITS]).chain(FINISHED);
    let names: Vec<&str> = names.chain(public.iter().map(String::as_str)).collect();
    match tables.iter().find(|name| !names.contains(&name.as_str())) {
        None => Ok(()),
        Some(name) => Err(
            Failure::new(Kind::Settings, format!("there is no table {name}"))
                .mend(format!("the tables are {}", names.join(", "))),
        ),
    }
}

/// The tables of a roll-up and those of the public rows.
fn rolled_up(figures: &Figures, public: &[String]) -> Vec<StageTable> {
    let private = FINISHED
        .iter()
        .filter_map(|name| figures.rollup.table(name));
    let public = public.iter().filter_map(|name| figures.public.table(name));
    private.chain(public).cloned().collect()
}

fn written(answer: &Answer, form: AnswerForm, is_private: bool) -> Result<Vec<u8>, Failure> {
    let notes = [("private", PRIVATE)];
    let notes = &notes[..usize::from(is_private)];
    match form {
        AnswerForm::Text => answer.text().map(String::into_bytes),
        AnswerForm::Json => answer.json().map(String::into_bytes),
        AnswerForm::Csv => answer.csv().map(String::into_bytes),
        AnswerForm::Parquet => answer.parquet(notes),
        AnswerForm::Arrow => answer.arrow(notes),
    }
}

/// The last line of a text file has an end; what is printed gets it from the printing.
fn with_end(mut bytes: Vec<u8>, is_text_file: bool) -> Vec<u8> {
    if is_text_file {
        bytes.push(b'\n');
    }
    bytes
}

/// Memory of this process that is in use, where the system reports it (Linux).
fn resident_bytes() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status
        .lines()
        .find_map(|line| line.strip_prefix("VmRSS:"))?;
    let kib: u64 = line.trim().strip_suffix("kB")?.trim().parse().ok()?;
    Some(kib << 10)
}
