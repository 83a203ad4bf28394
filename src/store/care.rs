//! Care of the tables: what is there, and whether it is what the receipts say.

use arrow::array::{AsArray, RecordBatch};
use arrow::compute::cast;
use arrow::datatypes::{DataType, Int64Type};
use datafusion::prelude::SessionContext;
use futures::TryStreamExt;
use serde::Serialize;

use super::alerts::{IssuedAlert, issued_alerts};
use super::closings::CLOSINGS_THAT_COUNT;
use super::files_whole::look_at_files;
use super::schema::Kept;
use super::snapshot::{Snapshot, register, unreadable, version_of};
use super::tables::Store;
use crate::failure::Failure;

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
    /// Of the held, those that are open: neither mended nor dropped.
    pub held_open: i64,
    /// Closed since a mended record was accepted.
    pub held_mended: i64,
    /// Closed since an attempt to mend it is held in its place.
    pub held_replaced: i64,
    /// Dropped on purpose.
    pub held_dropped: i64,
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
    let sums = one_row(
        session,
        "select count(*), coalesce(sum(received), 0), coalesce(sum(accepted), 0), \
         coalesce(sum(duplicate), 0), coalesce(sum(held - held_before), 0) from receipts",
    )
    .await?;
    let current = one_row(
        session,
        "with visible as (\
           select * from visits where load_id in (select load_id from receipts)\
         ), newest as (\
           select visit_id, max(revision) as revision from visible where revision > 1 group by visit_id\
         ) \
         select count(*) from visible left join newest on visible.visit_id = newest.visit_id \
         where not retracted and visible.revision = coalesce(newest.revision, visible.revision)",
    )
    .await?;
    let held = one_row(
        session,
        &format!(
            "{} select count(*) filter (where how is null), \
               count(*) filter (where how = 'mended'), count(*) filter (where how = 'replaced'), \
               count(*) filter (where how = 'dropped') from counted",
            held_and_closed()
        ),
    )
    .await?;
    let mut tables = Vec::new();
    register_alerts(store, session).await?;
    for kept in store.tables().await {
        let table = store.table(kept).await?;
        let rows = one_row(session, &format!("select count(*) from {}", kept.name())).await?;
        let files = table.get_file_uris().map_or(0, Iterator::count);
        tables.push(TableFigures {
            name: kept.name(),
            version: version_of(&table),
            files,
            rows: rows[0],
        });
    }
    Ok(StoreFigures {
        version: snapshot.version(),
        submissions: sums[0],
        received: sums[1],
        accepted: sums[2],
        duplicate: sums[3],
        held: sums[4],
        held_open: held[0],
        held_mended: held[1],
        held_replaced: held[2],
        held_dropped: held[3],
        current_visits: current[0],
        tables,
    })
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
        verification.unfinished_loads = one_row(session, UNFINISHED).await?[0];
    }
    Ok(verification)
}

const UNFINISHED: &str = "select count(distinct brought.load_id) from (\
     select load_id from visits union all select load_id from units union all select load_id from held \
     union all select load_id from held_closed where how <> 'dropped'\
   ) brought left anti join receipts on brought.load_id = receipts.load_id";

const RECEIPTS_AGAINST_ROWS: &str = "select r.load_id, r.file_name, \
     r.received - r.accepted - r.duplicate - r.held, \
     r.accepted, coalesce(v.rows, 0), r.units, coalesce(u.rows, 0), \
     r.held - r.held_before, coalesce(h.rows, 0), r.closed, coalesce(c.rows, 0) \
   from receipts r \
   left join (select load_id, count(*) as rows from visits group by load_id) v on r.load_id = v.load_id \
   left join (select load_id, count(*) as rows from units group by load_id) u on r.load_id = u.load_id \
   left join (select load_id, count(*) as rows from held group by load_id) h on r.load_id = h.load_id \
   left join (select load_id, count(*) as rows from held_closed group by load_id) c on r.load_id = c.load_id \
   order by r.received_at, r.load_id";

/// Each receipt against the rows that it claims.
async fn compare_receipts(
    session: &SessionContext,
    verification: &mut Verification,
) -> Result<(), Failure> {
    for batch in batches(session, RECEIPTS_AGAINST_ROWS).await? {
        let load_ids = cast(batch.column(0), &DataType::Utf8).map_err(|error| internal(&error))?;
        let names = cast(batch.column(1), &DataType::Utf8).map_err(|error| internal(&error))?;
        verification.receipts += batch.num_rows();
        for row in 0..batch.num_rows() {
            let count = |column: usize| batch.column(column).as_primitive::<Int64Type>().value(row);
            let receipt = format!(
                "receipt {} of {}",
                load_ids.as_string::<i32>().value(row),
                names.as_string::<i32>().value(row)
            );
            let mut wrong = |what: &str| verification.problems.push(format!("{receipt}: {what}"));
            if count(2) != 0 {
                wrong("received is not accepted + duplicate + held");
            }
            for (column, table) in [(3, "visits"), (5, "units"), (7, "held"), (9, "held_closed")] {
                let (claimed, found) = (count(column), count(column + 1));
                if claimed != found {
                    wrong(&format!(
                        "it claims {claimed} rows of {table}, {found} are there"
                    ));
                }
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
       select count(*) from visits v left join field f \
         on v.load_id = f.load_id and v.visit_id = f.visit_id and v.revision = f.revision \
       where v.load_id in (select load_id from receipts) \
         and (abs(v.field_mean - f.mean) <= 1e-9 * greatest(1.0, v.field_mean)) is not true";
    let wrong = one_row(session, query).await?[0];
    if wrong > 0 {
        verification.problems.push(format!(
            "{wrong} visits: field_mean is not the mean of their counts in units"
        ));
    }
    Ok(())
}

/// Each held record that counts, with how it was closed; null if it is open. A race may close one
/// twice: the better ending is told.
fn held_and_closed() -> String {
    format!(
        "with counted as (\
           select h.record_sha256, h.line, \
             case min(case c.how when 'mended' then 1 when 'replaced' then 2 when 'dropped' then 3 end) \
               when 1 then 'mended' when 2 then 'replaced' when 3 then 'dropped' end as how \
           from held h inner join receipts r on h.load_id = r.load_id \
           left join ({CLOSINGS_THAT_COUNT}) c \
             on h.record_sha256 = c.record_sha256 and h.line = c.line \
           group by h.record_sha256, h.line)"
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
                "select count(*) from ({CLOSINGS_THAT_COUNT}) c left anti join ({held}) h \
                   on c.record_sha256 = h.record_sha256 and c.line = h.line"
            ),
            "close a record that is not held",
        ),
        (
            format!(
                "select count(*) from ({CLOSINGS_THAT_COUNT}) c \
                 left anti join (select v.visit_id, v.revision from visits v \
                   inner join receipts r on v.load_id = r.load_id) v \
                   on c.visit_id = v.visit_id and c.revision = v.revision \
                 where c.how = 'mended'"
            ),
            "name a visit that is not there",
        ),
        (
            format!(
                "select count(*) from ({CLOSINGS_THAT_COUNT}) c where c.how = 'dropped' \
                   and (length(c.reason) > 0 and length(c.who) > 0) is not true"
            ),
            "do not say who dropped the record, or why",
        ),
        (
            format!(
                "select count(*) from (select record_sha256, line from ({CLOSINGS_THAT_COUNT}) \
                 where how <> 'dropped' group by record_sha256, line having count(*) > 1)"
            ),
            "stand beside another for the same record",
        ),
    ] {
        let wrong = one_row(session, &query).await?[0];
        if wrong > 0 {
            let problem = format!("held_closed: {wrong} closings {what}");
            verification.problems.push(problem);
        }
    }
    Ok(())
}

/// The alerts stand beside the versions of the store, so a snapshot does not hold them.
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
    let query = format!("select * from {}", kept.name());
    let plan = session
        .sql(&query)
        .await
        .map_err(|error| unreadable(&error))?;
    let mut stream = plan
        .execute_stream()
        .await
        .map_err(|error| unreadable(&error))?;
    while stream
        .try_next()
        .await
        .map_err(|error| unreadable(&error))?
        .is_some()
    {}
    Ok(())
}

async fn batches(session: &SessionContext, query: &str) -> Result<Vec<RecordBatch>, Failure> {
    let plan = session
        .sql(query)
        .await
        .map_err(|error| unreadable(&error))?;
    plan.collect().await.map_err(|error| unreadable(&error))
}

/// The whole numbers of a query's only row.
async fn one_row(session: &SessionContext, query: &str) -> Result<Vec<i64>, Failure> {
    let batches = batches(session, query).await?;
    let batch = batches.iter().find(|batch| batch.num_rows() == 1);
    let batch = batch.ok_or_else(|| internal(&"a count gave no row"))?;
    batch
        .columns()
        .iter()
        .map(|column| {
            let column = cast(column, &DataType::Int64).map_err(|error| internal(&error))?;
            Ok(column.as_primitive::<Int64Type>().value(0))
        })
        .collect()
}

fn internal(error: &dyn std::fmt::Display) -> Failure {
    Failure::new(
        crate::failure::Kind::Store,
        format!("cannot count the store's rows: {error}"),
    )
}
