//! Whether the tables are what the receipts say.

use datafusion::prelude::SessionContext;
use futures::TryStreamExt;
use serde::{Deserialize, Serialize};

use crate::alerts::issued_alert::IssuedAlert;
use crate::alerts::table::issued_alerts;
use crate::delta::files_whole::look_at_files;
use crate::delta::snapshot::{Snapshot, register_alerts};
use crate::delta::tables::Store;
use crate::rows::closings::{CLOSINGS_ON_RECORD, CLOSINGS_THAT_COUNT};
use crate::rows::query_rows::{count, rows, stream, unreadable};
use crate::rows::schema::Kept;
use scouting::failure::Failure;

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
                 where c.how in ('corrected', 'mended')"
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
            "are a second closing of the same record",
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
    while batches.try_next().await.map_err(unreadable)?.is_some() {}
    Ok(())
}
