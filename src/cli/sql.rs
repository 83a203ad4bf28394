//! `bractline sql`: a query over the kept tables and the roll-up tables, and nothing else.
//!
//! The query runs on threads of its own, so that one that does not end, or that takes more memory than the
//! engine accounts for, is left behind when the program ends.

use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::{Duration, Instant};

use super::figures::Figures;
use super::{Outcome, open_store, workers};
use crate::failure::{Failure, Kind};
use crate::rollup::public_rows::Publishing;
use crate::rollup::run::{FINISHED, StageTable};
use crate::rollup::stages::public_stages;
use crate::shared::report;
use crate::store::query::{Answer, Query, ReadOnly, too_much};
use crate::store::schema::Kept;
use crate::store::tables::Store;
use crate::workspace::Workspace;

/// How often it is looked whether a query has had enough.
const LOOK_EVERY: Duration = Duration::from_millis(20);
/// What the program takes beside the query's own memory.
const BESIDE_BYTES: u64 = 256 << 20;
/// Stack of the threads that plan and compute: the deepest expression that fits into a query is met by recursion. Only
/// what is used of it takes memory.
const STACK_BYTES: usize = 256 << 20;
/// Name of the threads that plan and compute a query, by which a panic there is known.
pub(super) const THREAD_NAME: &str = "sql";

/// Ask the tables: read-only SQL
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline sql \"select county_name, median_class from county_week where iso_week = '2026-W30'\"\n  bractline sql --format csv \"select county_id, count(*) as visits from visits group by county_id\"\n\nPrivate tables: visits, units, held, held_closed, receipts, alerts (rows that count), and, rolled up when they are named, field_week and county_week_full (every county and week, with every figure).\nPublic tables, of the rows that were issued or exported: county_week, elsewhere_week, region_week, region_median, region_stage, sample_point.\nOne query at a time; it can read these tables and nothing else. All of the answer is written, or none. An answer that rests on a private table is private."
)]
pub struct Sql {
    /// One SELECT
    #[arg(value_name = "QUERY")]
    query: String,

    /// Memory that the query may use, megabytes
    #[arg(long, value_name = "MB", default_value_t = 1024, value_parser = clap::value_parser!(u32).range(16..))]
    memory_mb: u32,

    /// Seconds after which the query is ended
    #[arg(long, value_name = "SECONDS", default_value_t = 60, value_parser = clap::value_parser!(u32).range(1..))]
    seconds: u32,

    /// How to write the answer
    #[arg(long, value_enum, default_value = "text")]
    format: SqlFormat,
}

/// How an answer is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum SqlFormat {
    /// A table for people.
    Text,
    /// A JSON array of objects.
    Json,
    /// CSV with a line of names, each text as it is stored.
    Csv,
}

impl Sql {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let query = Query::read(&self.query)?;
        let public = names_of_public_tables()?;
        check_names(&query.tables, &public)?;
        let store = open_store(workspace).await?;
        let is_public = |name: &String| public.contains(name);
        let is_rolled_up = |name: &String| FINISHED.contains(&&**name) || is_public(name);
        let rolled_up = match query.tables.iter().any(is_rolled_up) {
            true => rolled_up(
                &Figures::of(workspace, &Publishing::Nothing).await?,
                &public,
            ),
            false => Vec::new(),
        };
        if !query.tables.iter().all(is_public) {
            report::note(
                "note: this answer rests on private tables; it may tell whose field it is",
            );
        }
        let text = self.answered(store, query, rolled_up)?;
        report::say(&text)?;
        Ok(Outcome::Done)
    }

    /// The answer as text, within the limits.
    fn answered(
        &self,
        store: Store,
        query: Query,
        rolled_up: Vec<StageTable>,
    ) -> Result<String, Failure> {
        let (format, memory) = (self.format, u64::from(self.memory_mb) << 20);
        let memory_bytes = usize::try_from(memory).unwrap_or(usize::MAX);
        let (sender, receiver) = channel();
        let not_started =
            |error: std::io::Error| Failure::new(Kind::Files, format!("cannot start: {error}"));
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
                            let tables = ReadOnly::open(&store, memory_bytes, workers()).await?;
                            for StageTable { stage, batch } in &rolled_up {
                                tables.add(&stage.table, batch)?;
                            }
                            tables.answer(query).await
                        })
                    })
                    .and_then(|answer| written(&answer, format));
                // Nobody waits for it any more if the time is over.
                let _ = sender.send(answered);
            })
            .map_err(not_started)?;
        self.wait(&receiver, memory + BESIDE_BYTES)
    }

    fn wait(
        &self,
        receiver: &Receiver<Result<String, Failure>>,
        resident_max: u64,
    ) -> Result<String, Failure> {
        let end = Instant::now() + Duration::from_secs(u64::from(self.seconds));
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
                let seconds = report::counted(u64::from(self.seconds), "second", "seconds");
                return Err(too_much(&format!("it took more than {seconds}")));
            }
            if resident_bytes().is_some_and(|bytes| bytes > resident_max) {
                return Err(too_much("it needs more memory than it may use"));
            }
        }
    }
}

/// The tables that rest on public rows alone.
fn names_of_public_tables() -> Result<Vec<String>, Failure> {
    let stages = public_stages()?.into_iter();
    Ok(stages.map(|stage| stage.table).collect())
}

fn check_names(tables: &[String], public: &[String]) -> Result<(), Failure> {
    let kept = Kept::ALL.map(Kept::name);
    let names = kept.into_iter().chain(FINISHED);
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

fn written(answer: &Answer, format: SqlFormat) -> Result<String, Failure> {
    match format {
        SqlFormat::Text => answer.text(),
        SqlFormat::Json => answer.json(),
        SqlFormat::Csv => answer.csv(),
    }
}

/// Memory of this process that is in use, where the system tells (Linux).
fn resident_bytes() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status
        .lines()
        .find_map(|line| line.strip_prefix("VmRSS:"))?;
    let kib: u64 = line.trim().strip_suffix("kB")?.trim().parse().ok()?;
    Some(kib << 10)
}
