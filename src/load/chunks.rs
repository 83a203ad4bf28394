//! Chunks of records on their way: read on a thread of their own, and judged side by side.

use std::sync::Arc;

use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc};
use tokio::task::spawn_blocking;

use intake::judge::judging::{Judge, Judged};
use intake::mapping::id_prefixes::SenderPrefixes;
use intake::read::raw_record::RawRecord;
use intake::read::reader::RecordReader;
use scouting::failure::{Failure, Kind};

/// Bytes of a submission that may wait between reading and writing. A longer record goes alone.
const WAITING_BYTES_MAX: usize = 32 << 20;

/// What judges records, and what it puts before their ids.
pub(super) struct Judging {
    pub(super) judge: Arc<Judge>,
    pub(super) prefixes: Arc<SenderPrefixes>,
}

/// Records that were read, and their share of what may wait at a time.
pub(super) struct Chunk {
    records: Vec<RawRecord>,
    waiting: OwnedSemaphorePermit,
}

/// Chunks of records, read on a thread of their own; a few wait at the most.
pub(super) fn chunks(reader: RecordReader) -> mpsc::Receiver<Result<Chunk, Failure>> {
    let (sender, receiver) = mpsc::channel(2);
    let room = Arc::new(Semaphore::new(WAITING_BYTES_MAX));
    let runtime = tokio::runtime::Handle::current();
    spawn_blocking(move || {
        for records in reader {
            let chunk = records.map(|records| {
                let bytes: usize = records.iter().map(RawRecord::weight).sum();
                let share = bytes.min(WAITING_BYTES_MAX) as u32;
                let waiting = runtime
                    .block_on(room.clone().acquire_many_owned(share))
                    .expect("the room is never closed");
                Chunk { records, waiting }
            });
            // The receiver is gone when the load has failed: nothing is left to read for.
            if sender.blocking_send(chunk).is_err() {
                break;
            }
        }
    });
    receiver
}

/// A chunk of records, each judged.
pub(super) async fn judged(
    judging: &Judging,
    chunk: Chunk,
) -> Result<(Vec<Judged>, OwnedSemaphorePermit), Failure> {
    let Chunk { records, waiting } = chunk;
    let (judge, prefixes) = (judging.judge.clone(), judging.prefixes.clone());
    let task = spawn_blocking(move || {
        records
            .into_iter()
            .map(|record| judge.judge(record, &prefixes))
            .collect()
    });
    let judged = task.await.map_err(|error| {
        Failure::because(Kind::Submission, "a record could not be judged", error)
            .mend("please report it, with the file; nothing of it was loaded")
    })?;
    Ok((judged, waiting))
}
