//! What the store holds: its submissions, records and files, counted.

use serde::{Deserialize, Serialize};

use crate::delta::snapshot::{Snapshot, register_alerts, version_of};
use crate::delta::tables::Store;
use crate::rows::closings::{CLOSINGS_THAT_COUNT, LOADS_TAKEN_BACK};
use crate::rows::query_rows::{count, one_row};
use scouting::failure::Failure;

/// Show what the store holds.
#[derive(Debug, Clone, Serialize)]
pub struct StoreFigures {
    /// The store's version: that of its receipts.
    pub version: i64,
    /// Submissions that were loaded.
    pub submissions: i64,
    /// Records in them.
    pub received: i64,
    /// Records that are in `visits`.
    pub accepted: i64,
    /// Records that were there already.
    pub duplicate: i64,
    /// Records that could not be accepted.
    pub held: i64,
    /// Of the held, those that are open: neither corrected nor dropped.
    pub held_open: i64,
    /// Closed because a corrected record was accepted.
    pub held_corrected: i64,
    /// Closed because an attempt to correct it is held in its place.
    pub held_replaced: i64,
    /// Dropped on purpose.
    pub held_dropped: i64,
    /// Held by a load that was taken back.
    pub held_undone: i64,
    /// Visits that count: the highest revision of each, unless it withdraws the visit.
    pub current_visits: i64,
    /// The tables.
    pub tables: Vec<TableFigures>,
}

/// One kept table.
#[derive(Debug, Clone, Serialize)]
pub struct TableFigures {
    /// Its name.
    pub name: &'static str,
    /// Its Delta version.
    pub version: i64,
    /// Parquet files of that version.
    pub files: usize,
    /// Rows of these files, those of unfinished loads included.
    pub rows: i64,
}

/// Show what the store holds.
pub async fn figures(store: &Store) -> Result<StoreFigures, Failure> {
    let snapshot = Snapshot::open(store, 1).await?;
    let session = snapshot.session();
    let sums: Sums = one_row(
        session,
        "select count(*) as submissions, coalesce(sum(received), 0) as received, \
           coalesce(sum(accepted), 0) as accepted, coalesce(sum(duplicate), 0) as duplicate, \
           coalesce(sum(held - held_before), 0) as held \
         from receipts",
    )
    .await?;
    let current_visits = count(
        session,
        "with visible as (\
           select * from visits where load_id in (select load_id from receipts)\
         ), newest as (\
           select visit_id, max(revision) as revision from visible where revision > 1 group by visit_id\
         ) \
         select count(*) as rows from visible left join newest on visible.visit_id = newest.visit_id \
         where not retracted and visible.revision = coalesce(newest.revision, visible.revision)",
    )
    .await?;
    let held: Endings = one_row(
        session,
        &format!(
            "{} select count(*) filter (where how is null) as open, \
               count(*) filter (where how = 'corrected') as corrected, \
               count(*) filter (where how = 'replaced') as replaced, \
               count(*) filter (where how = 'dropped') as dropped, \
               count(*) filter (where how = 'undone') as undone from counted",
            held_and_closed()
        ),
    )
    .await?;
    let mut tables = Vec::new();
    register_alerts(store, session).await?;
    for kept in store.tables().await {
        let table = store.table(kept).await?;
        let query = format!("select count(*) as rows from {}", kept.name());
        let files = table.get_file_uris().map_or(0, Iterator::count);
        tables.push(TableFigures {
            name: kept.name(),
            version: version_of(&table),
            files,
            rows: count(session, &query).await?,
        });
    }
    Ok(StoreFigures {
        version: snapshot.version(),
        submissions: sums.submissions,
        received: sums.received,
        accepted: sums.accepted,
        duplicate: sums.duplicate,
        held: sums.held,
        held_open: held.open,
        held_corrected: held.corrected,
        held_replaced: held.replaced,
        held_dropped: held.dropped,
        held_undone: held.undone,
        current_visits,
        tables,
    })
}

/// The receipts taken together.
#[derive(Deserialize)]
struct Sums {
    submissions: i64,
    received: i64,
    accepted: i64,
    duplicate: i64,
    held: i64,
}

/// The held records by how they were closed.
#[derive(Deserialize)]
struct Endings {
    open: i64,
    corrected: i64,
    replaced: i64,
    dropped: i64,
    undone: i64,
}

/// Each held record that counts, with how it was closed; null if it is open. A race may close one
/// twice: the better ending is reported. `mended` is what earlier versions wrote for `corrected`.
fn held_and_closed() -> String {
    format!(
        "with counted as (\
           select h.load_id, h.record_sha256, h.line, \
             case min(case when t.undoes is not null then 0 when c.how in ('corrected', 'mended') then 1 \
               when c.how = 'replaced' then 2 when c.how = 'dropped' then 3 end) \
               when 0 then 'undone' when 1 then 'corrected' when 2 then 'replaced' when 3 then 'dropped' end as how \
           from held h inner join receipts r on h.load_id = r.load_id \
           left join ({LOADS_TAKEN_BACK}) t on h.load_id = t.undoes \
           left join ({CLOSINGS_THAT_COUNT}) c \
             on h.record_sha256 = c.record_sha256 and h.line = c.line \
           group by h.load_id, h.record_sha256, h.line)"
    )
}
