//! Care of the tables: what is there, and whether it is what the receipts say.

use datafusion::prelude::SessionContext;
use futures::TryStreamExt;
use serde::{Deserialize, Serialize};

use crate::alerts::table::{IssuedAlert, issued_alerts};
use crate::delta::files_whole::look_at_files;
use crate::delta::snapshot::{Snapshot, register, version_of};
use crate::delta::tables::Store;
use crate::rows::closings::{CLOSINGS_ON_RECORD, CLOSINGS_THAT_COUNT, LOADS_TAKEN_BACK};
use crate::rows::query_rows::{one_row, rows, stream, unreadable};
use crate::rows::schema::Kept;
use scouting::failure::Failure;

/// What the store holds.
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
    pub held_mended: i64,
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

/// Whether the tables are what the receipts say.
#[derive(Debug, Clone, Serialize)]
pub struct Verification {
    /// The store's version.
    pub version: i64,
    /// Receipts that were looked at.
    pub receipts: usize,
    /// Issued alerts that were looked at.
    pub alerts: usize,
    /// Files that were looked at, byte for byte.
    pub files: usize,
    /// What is wrong, in words; empty if the store is whole.
    pub problems: Vec<String>,
    /// Loads that have rows but no receipt: broken off, without effect.
    pub unfinished_loads: i64,
}

/// What the store holds.
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
               count(*) filter (where how = 'mended') as mended, \
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
        held_mended: held.mended,
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
    mended: i64,
    replaced: i64,
    dropped: i64,
    undone: i64,
}

/// Compares every file with what its log says, reads it to its end, and compares each receipt with the
/// rows that it claims.
pub async fn verify(store: &Store) -> Result<Verification, Failure> {
    let looked = look_at_files(store).await;
    let mut verification = Verification {
        version: looked.version,
        receipts: 0,
        alerts: 0,
        files: looked.files,
        problems: looked.problems,
        unfinished_loads: 0,
    };
    if !verification.problems.is_empty() {
        return Ok(verification);
    }
    let snapshot = Snapshot::open(store, 1).await?;
    let session = snapshot.session();
    verification.version = snapshot.version();
    register_alerts(store, session).await?;
    for kept in store.tables().await {
        if let Err(failure) = read_to_the_end(session, kept).await {
            let problem = format!("{}: {failure}", kept.name());
            verification.problems.push(problem);
        }
    }
    // With a file that cannot be read the counts below could not be taken.
    if verification.problems.is_empty() {
        compare_receipts(session, &mut verification).await?;
        compare_means(session, &mut verification).await?;
        compare_closings(session, &mut verification).await?;
        compare_alerts(store, &mut verification).await?;
        verification.unfinished_loads = count(session, UNFINISHED).await?;
    }
    Ok(verification)
}

const UNFINISHED: &str = "select count(distinct brought.load_id) as rows from (\
     select load_id from visits union all select load_id from units union all select load_id from held \
     union all select load_id from held_closed where how not in ('dropped', 'restored')\
   ) brought left anti join receipts on brought.load_id = receipts.load_id";

const RECEIPTS_AGAINST_ROWS: &str = "select r.load_id as load_id, r.file_name as file_name, \
     r.received - r.accepted - r.duplicate - r.held as unaccounted, \
     r.accepted as accepted, coalesce(v.rows, 0) as visits, \
     r.units as units_claimed, coalesce(u.rows, 0) as units, \
     r.held - r.held_before as newly_held, coalesce(h.rows, 0) as held, \
     r.closed as closed, coalesce(c.rows, 0) as held_closed \
   from receipts r \
   left join (select load_id, count(*) as rows from visits group by load_id) v on r.load_id = v.load_id \
   left join (select load_id, count(*) as rows from units group by load_id) u on r.load_id = u.load_id \
   left join (select load_id, count(*) as rows from held group by load_id) h on r.load_id = h.load_id \
   left join (select load_id, count(*) as rows from held_closed group by load_id) c on r.load_id = c.load_id \
   order by r.received_at, r.load_id";

/// A receipt, with the rows that it claims and those that are there.
#[derive(Deserialize)]
struct ReceiptAgainstRows {
    load_id: String,
    file_name: String,
    unaccounted: i64,
    accepted: i64,
    visits: i64,
    units_claimed: i64,
    units: i64,
    newly_held: i64,
    held: i64,
    closed: i64,
    held_closed: i64,
}

/// Each receipt against the rows that it claims.
async fn compare_receipts(
    session: &SessionContext,
    verification: &mut Verification,
) -> Result<(), Failure> {
    let receipts: Vec<ReceiptAgainstRows> = rows(session, RECEIPTS_AGAINST_ROWS).await?;
    verification.receipts += receipts.len();
    for receipt in receipts {
        let name = format!("receipt {} of {}", receipt.load_id, receipt.file_name);
        let mut wrong = |what: &str| verification.problems.push(format!("{name}: {what}"));
        if receipt.unaccounted != 0 {
            wrong("received is not accepted + duplicate + held");
        }
        for (table, claimed, found) in [
            ("visits", receipt.accepted, receipt.visits),
            ("units", receipt.units_claimed, receipt.units),
            ("held", receipt.newly_held, receipt.held),
            ("held_closed", receipt.closed, receipt.held_closed),
        ] {
            if claimed != found {
                wrong(&format!(
                    "it claims {claimed} rows of {table}, {found} are there"
                ));
            }
        }
    }
    Ok(())
}

/// Each visit's field mean against the raw counts that it was computed from. A load that was broken
/// off may have visits without units; they do not count.
async fn compare_means(
    session: &SessionContext,
    verification: &mut Verification,
) -> Result<(), Failure> {
    let query = "with site_mean as (\
         select load_id, visit_id, revision, site, \
           avg(cast(total as double) / cast(coalesce(nights, 1) as double)) as mean \
         from units group by load_id, visit_id, revision, site\
       ), field as (\
         select load_id, visit_id, revision, avg(mean) as mean from site_mean \
         group by load_id, visit_id, revision\
       ) \
       select count(*) as rows from visits v left join field f \
         on v.load_id = f.load_id and v.visit_id = f.visit_id and v.revision = f.revision \
       where v.load_id in (select load_id from receipts) \
         and (abs(v.field_mean - f.mean) <= 1e-9 * greatest(1.0, v.field_mean)) is not true";
    let wrong = count(session, query).await?;
    if wrong > 0 {
        verification.problems.push(format!(
            "{wrong} visits: field_mean is not the mean of their counts in units"
        ));
    }
    Ok(())
}

/// Each held record that counts, with how it was closed; null if it is open. A race may close one
/// twice: the better ending is reported.
fn held_and_closed() -> String {
    format!(
        "with counted as (\
           select h.load_id, h.record_sha256, h.line, \
             case min(case when t.undoes is not null then 0 when c.how = 'mended' then 1 \
               when c.how = 'replaced' then 2 when c.how = 'dropped' then 3 end) \
               when 0 then 'undone' when 1 then 'mended' when 2 then 'replaced' when 3 then 'dropped' end as how \
           from held h inner join receipts r on h.load_id = r.load_id \
           left join ({LOADS_TAKEN_BACK}) t on h.load_id = t.undoes \
           left join ({CLOSINGS_THAT_COUNT}) c \
             on h.record_sha256 = c.record_sha256 and h.line = c.line \
           group by h.load_id, h.record_sha256, h.line)"
    )
}

/// Each closing against what it closes and what it names.
async fn compare_closings(
    session: &SessionContext,
    verification: &mut Verification,
) -> Result<(), Failure> {
    let held = "select h.* from held h inner join receipts r on h.load_id = r.load_id";
    for (query, what) in [
        (
            format!(
                "select count(*) as rows from ({CLOSINGS_ON_RECORD}) c left anti join ({held}) h \
                   on c.record_sha256 = h.record_sha256 and c.line = h.line"
            ),
            "close a record that is not held",
        ),
        (
            format!(
                "select count(*) as rows from ({CLOSINGS_THAT_COUNT}) c \
                 left anti join (select v.visit_id, v.revision from visits v \
                   inner join receipts r on v.load_id = r.load_id) v \
                   on c.visit_id = v.visit_id and c.revision = v.revision \
                 where c.how = 'mended'"
            ),
            "name a visit that is not there",
        ),
        (
            format!(
                "select count(*) as rows from ({CLOSINGS_ON_RECORD}) c \
                 where c.how in ('dropped', 'restored', 'undone') \
                   and (length(c.reason) > 0 and length(c.who) > 0) is not true"
            ),
            "do not say who decided about the record, or why",
        ),
        (
            format!(
                "select count(*) as rows from (select record_sha256, line from ({CLOSINGS_THAT_COUNT}) \
                 where how <> 'dropped' \
                   and load_id not in (select undoes from receipts where undoes is not null) group by record_sha256, line having count(*) > 1)"
            ),
            "stand beside another for the same record",
        ),
    ] {
        let wrong = count(session, &query).await?;
        if wrong > 0 {
            let problem = format!("held_closed: {wrong} closings {what}");
            verification.problems.push(problem);
        }
    }
    Ok(())
}

/// The alerts are kept outside the versions of the store, so a snapshot does not hold them.
async fn register_alerts(store: &Store, session: &SessionContext) -> Result<(), Failure> {
    match store.has(Kept::Alerts).await {
        true => register(session, Kept::Alerts, &store.table(Kept::Alerts).await?).await,
        false => Ok(()),
    }
}

/// The numbers of the alerts, what each replaces, and the version that each was made from.
async fn compare_alerts(store: &Store, verification: &mut Verification) -> Result<(), Failure> {
    let issued = issued_alerts(store).await?;
    verification.alerts = issued.len();
    for (number, alert) in (1..).zip(&issued) {
        let mut wrong = |what: String| {
            let problem = format!("alerts: alert {}: {what}", alert.number);
            verification.problems.push(problem);
        };
        if alert.number != number {
            wrong(format!("{number} was expected in its place"));
        }
        let replaced = alert
            .replaces
            .map(|replaces| issued.iter().find(|other| other.number == replaces));
        let same_week = |other: &IssuedAlert| {
            other.number < alert.number
                && (&other.iso_week, &other.protocol) == (&alert.iso_week, &alert.protocol)
        };
        if replaced.is_some_and(|other| !other.is_some_and(same_week)) {
            wrong("it replaces none before it of its week and protocol".to_owned());
        }
        if alert.store_version > verification.version {
            wrong(format!("the store has no version {}", alert.store_version));
        }
    }
    Ok(())
}

async fn read_to_the_end(session: &SessionContext, kept: Kept) -> Result<(), Failure> {
    let mut batches = stream(session, &format!("select * from {}", kept.name())).await?;
    let failed = |error| unreadable(&error);
    while batches.try_next().await.map_err(failed)?.is_some() {}
    Ok(())
}

/// The number of rows that a query counts.
async fn count(session: &SessionContext, query: &str) -> Result<i64, Failure> {
    #[derive(Deserialize)]
    struct Count {
        rows: i64,
    }
    Ok(one_row::<Count>(session, query).await?.rows)
}
