//! What the store already knows, for deciding what a record is: new, a duplicate, a conflict.
//!
//! Keys are kept as the first half of a SHA-256, 16 bytes: a chance meeting of two among ten
//! million is below 1e-24. They are in one piece, which grows without being copied whole; a table of hashes
//! next to it says where.

use std::collections::{HashMap, HashSet};
use std::sync::Arc;

use arrow::array::RecordBatch;
use datafusion::prelude::SessionContext;
use deltalake::DeltaTable;
use futures::TryStreamExt;
use indexmap::IndexMap;
use serde::Deserialize;

use crate::delta::snapshot::{Snapshot, version_of};
use crate::delta::tables::Store;
use crate::ledger::open_held::{OpenHeld, OpenRecord};
use crate::ledger::taken_back::{ReceiptedLoads, UsedRevisions, used_revisions};
use crate::ledger::visit_key::{half, visit_key};
use crate::rows::closings::CLOSINGS_THAT_COUNT;
use crate::rows::decode;
use crate::rows::query_rows::{batches, stream, unreadable};
use crate::rows::schema::Kept;
use scouting::failure::Failure;
use scouting::visit::held_id::HeldId;
use scouting::visit::rows::VisitRow;

/// The numbers under which records are kept, by the key of the visit and the number that they were sent under.
pub(crate) type Renumbered = HashMap<u128, Vec<u32>>;

/// The records that count at one version of the store.
pub struct KnownRecords {
    receipts: DeltaTable,
    visits: IndexMap<u128, u128>,
    held: HashSet<u128>,
    open: OpenHeld,
    /// Visits of which undos have used up revisions.
    used: HashMap<u128, UsedRevisions>,
    pub(crate) renumbered: Renumbered,
    load_ids: HashSet<String>,
}

/// What a look at a newer version brought.
#[derive(Debug, Default)]
pub struct NewlyKnown {
    /// Keys of visits that became visible.
    pub visits: Vec<u128>,
    /// Keys of held records that became visible.
    pub held: Vec<u128>,
    /// Keys of the visits that open ones among them speak of.
    pub held_visits: Vec<u128>,
    /// Held records that were closed.
    pub closed: Vec<HeldId>,
    /// Whether a load was taken back: whatever was decided before is to be decided again.
    pub undone: bool,
}

/// What one load accepted, held and closed.
#[derive(Debug, Default)]
pub struct Brought {
    /// Content of each accepted visit revision, by key.
    pub visits: IndexMap<u128, u128>,
    /// Keys of the records that are held now.
    pub held: HashSet<u128>,
    /// The same records, as much as closing them takes.
    pub open: Vec<OpenRecord>,
    /// Held records that it closed.
    pub closed: HashSet<HeldId>,
    /// Of these, those that another held record represents.
    pub replaced: HashMap<HeldId, HeldId>,
    /// Visits of which undos have used up revisions, with what it accepted of them.
    pub(crate) used: HashMap<u128, UsedRevisions>,
    /// What it accepted under another number than it was sent under.
    pub(crate) renumbered: Renumbered,
}

impl KnownRecords {
    /// Reads what counts in the newest version.
    pub async fn read(store: &Store) -> Result<KnownRecords, Failure> {
        let snapshot = Snapshot::open(store, 1).await?;
        let mut known = KnownRecords {
            receipts: snapshot.receipts().clone(),
            visits: IndexMap::new(),
            held: HashSet::new(),
            open: OpenHeld::default(),
            used: HashMap::new(),
            renumbered: Renumbered::new(),
            load_ids: HashSet::new(),
        };
        known.take_in(&snapshot).await?;
        Ok(known)
    }

    /// Looks at the newest version and takes in what became visible since.
    pub async fn look_again(&mut self, store: &Store) -> Result<NewlyKnown, Failure> {
        let snapshot = Snapshot::open(store, 1).await?;
        self.receipts = snapshot.receipts().clone();
        self.take_in(&snapshot).await
    }

    /// Takes in what a submission of this very run brought, without reading it back.
    pub fn adopt(&mut self, brought: Brought) {
        // The first load of a run brings most: what it knows is taken over, not copied.
        if self.visits.is_empty() {
            self.visits = brought.visits;
        } else {
            self.visits.extend(brought.visits);
        }
        self.held.extend(brought.held);
        for id in brought.closed {
            self.open.close(id);
        }
        for (id, by) in brought.replaced {
            self.open.replace(id, by);
        }
        for record in brought.open {
            self.open.open(record);
        }
        self.used.extend(brought.used);
        for (key, numbers) in brought.renumbered {
            self.renumbered.entry(key).or_default().extend(numbers);
        }
    }

    /// Takes in what a load of this very run brought, once its receipt is committed. That was on top of the version
    /// that was read, so unless others came after it there is nothing to read: of a thousand files handed in
    /// together the last would else read the receipts of all before it.
    pub async fn adopt_sealed(
        &mut self,
        store: &Store,
        load_id: &str,
        brought: Brought,
    ) -> Result<(), Failure> {
        self.adopt(brought);
        self.load_ids.insert(load_id.to_owned());
        let ours = version_of(&self.receipts) + 1;
        let newest = store.table(Kept::Receipts).await?;
        if version_of(&newest) == ours {
            self.receipts = newest;
            return Ok(());
        }
        self.look_again(store).await.map(drop)
    }

    /// Content of a visit revision, if it is known.
    pub fn content(&self, key: u128) -> Option<u128> {
        self.visits.get(&key).copied()
    }

    /// Whether the visit revision of a row is known with other content.
    pub fn has_other_content(&self, row: &VisitRow) -> bool {
        let known = self.content(visit_key(&row.visit.visit_id, row.visit.revision));
        known.is_some_and(|content| content != half(&row.content_sha256))
    }

    /// Whether these very bytes are held.
    pub fn holds(&self, record: u128) -> bool {
        self.held.contains(&record)
    }

    /// The held records that are open.
    pub fn open_held(&self) -> &OpenHeld {
        &self.open
    }

    /// The numbers that undos have used up of a visit, if any have.
    pub(crate) fn used_revisions(&self, visit_id: &str) -> Option<&UsedRevisions> {
        // Undos are few: without any nothing is hashed.
        match self.used.is_empty() {
            true => None,
            false => self.used.get(&visit_key(visit_id, 0)),
        }
    }

    /// The receipts at the version that was read.
    pub fn receipts(&self) -> &DeltaTable {
        &self.receipts
    }

    async fn take_in(&mut self, snapshot: &Snapshot) -> Result<NewlyKnown, Failure> {
        let session = snapshot.session();
        let loads = ReceiptedLoads::read(session).await?;
        let mut newly = NewlyKnown::default();
        let is_new = |id: &String| !self.load_ids.contains(id);
        newly.undone = !self.load_ids.is_empty() && loads.undos.iter().any(is_new);
        if newly.undone {
            self.forget();
        }
        let new_ids: Vec<&String> = loads.all.difference(&self.load_ids).collect();
        if new_ids.is_empty() {
            return Ok(newly);
        }
        // At the first look every load counts, and no filter is quicker than a long one.
        let mark = if self.load_ids.is_empty() {
            "load_id in (select load_id from receipts)".to_owned()
        } else {
            // Load ids are ours: UUIDs, without quotes.
            let list: Vec<String> = new_ids.iter().map(|id| format!("'{id}'")).collect();
            format!("load_id in ({})", list.join(", "))
        };
        self.take_in_visits(session, &mark, &mut newly).await?;
        self.take_in_held(session, &mark, &loads, &mut newly)
            .await?;
        self.take_in_closings(session, &mark, &mut newly).await?;
        self.take_in_renumbered(session, &mark, &loads).await?;
        self.used = used_revisions(session, &loads, !self.renumbered.is_empty()).await?;
        self.load_ids = loads.all;
        Ok(newly)
    }

    /// Forgets all that was read: a load was taken back, so all of it is read again.
    fn forget(&mut self) {
        self.visits.clear();
        self.held.clear();
        self.open = OpenHeld::default();
        self.renumbered.clear();
        self.load_ids.clear();
    }

    async fn take_in_visits(
        &mut self,
        session: &SessionContext,
        mark: &str,
        newly: &mut NewlyKnown,
    ) -> Result<(), Failure> {
        let query = format!("select visit_id, revision, content_sha256 from visits where {mark}");
        let mut batches = stream(session, &query).await?;
        while let Some(batch) = batches.try_next().await.map_err(unreadable)? {
            for visit in rows_of::<VisitContent<'_>>(&batch)? {
                let key = visit_key(visit.visit_id, visit.revision);
                self.visits.insert(key, half(visit.content_sha256));
                newly.visits.push(key);
            }
        }
        Ok(())
    }

    /// Records that are kept under another number than they were sent under; few are.
    async fn take_in_renumbered(
        &mut self,
        session: &SessionContext,
        mark: &str,
        loads: &ReceiptedLoads,
    ) -> Result<(), Failure> {
        #[derive(Deserialize)]
        struct Row<'a> {
            visit_id: &'a str,
            revision: u32,
            revision_sent: u32,
            load_id: &'a str,
        }
        let query = format!(
            "select visit_id, revision, revision_sent, load_id from visits \
             where revision_sent is not null and {mark}"
        );
        for batch in batches(session, &query).await? {
            for row in rows_of::<Row<'_>>(&batch)? {
                // What came with a load that was taken back may come again.
                if loads.in_effect(row.load_id) {
                    let key = visit_key(row.visit_id, row.revision_sent);
                    self.renumbered.entry(key).or_default().push(row.revision);
                }
            }
        }
        Ok(())
    }

    async fn take_in_held(
        &mut self,
        session: &SessionContext,
        mark: &str,
        loads: &ReceiptedLoads,
        newly: &mut NewlyKnown,
    ) -> Result<(), Failure> {
        // A quotation mark inside a finding is escaped, so the pattern meets codes alone.
        let query = format!(
            "select record_sha256, line, submission_sha256, visit_id, revision, \
               strpos(reasons, '{{\"code\":\"revision-conflict\"') > 0 as is_conflict, sender, load_id \
             from held where {mark}"
        );
        let mut submission: Arc<str> = Arc::from("");
        for batch in batches(session, &query).await? {
            for held in rows_of::<HeldKey<'_>>(&batch)? {
                // What came with a load that was taken back is not held any more, and may come again.
                if loads.taken_back.contains(held.load_id) {
                    continue;
                }
                self.held.insert(half(held.record_sha256));
                newly.held.push(half(held.record_sha256));
                if *submission != *held.submission_sha256 {
                    submission = Arc::from(held.submission_sha256);
                }
                // The revision of a conflict is taken by another record: its arrival corrects nothing.
                let visit = (held.visit_id.zip(held.revision))
                    .filter(|_| !held.is_conflict)
                    .map(|(visit_id, revision)| visit_key(visit_id, revision));
                newly.held_visits.extend(visit);
                self.open.open(OpenRecord {
                    record_sha256: whole(held.record_sha256),
                    submission_sha256: submission.clone(),
                    line: held.line,
                    visit,
                    sender: held.sender.map(Arc::from),
                });
            }
        }
        Ok(())
    }

    async fn take_in_closings(
        &mut self,
        session: &SessionContext,
        mark: &str,
        newly: &mut NewlyKnown,
    ) -> Result<(), Failure> {
        let query = format!(
            "select record_sha256, line, replaced_by from ({CLOSINGS_THAT_COUNT}) \
             where how = 'dropped' or {mark}"
        );
        for batch in batches(session, &query).await? {
            for closed in rows_of::<Closed<'_>>(&batch)? {
                let id = HeldId::new(&whole(closed.record_sha256), closed.line);
                match closed.replaced_by.and_then(|by| by.parse().ok()) {
                    Some(by) => self.open.replace(id, by),
                    None => self.open.close(id),
                }
                newly.closed.push(id);
            }
        }
        Ok(())
    }
}

/// A visit that counts, and what it says.
#[derive(Deserialize)]
struct VisitContent<'a> {
    visit_id: &'a str,
    revision: u32,
    content_sha256: &'a [u8],
}

/// A held record as much as closing it takes.
#[derive(Deserialize)]
struct HeldKey<'a> {
    record_sha256: &'a [u8],
    line: u64,
    submission_sha256: &'a str,
    visit_id: Option<&'a str>,
    revision: Option<u32>,
    is_conflict: bool,
    sender: Option<&'a str>,
    load_id: &'a str,
}

/// A held record that is closed.
#[derive(Deserialize)]
struct Closed<'a> {
    record_sha256: &'a [u8],
    line: u64,
    replaced_by: Option<&'a str>,
}

fn rows_of<'a, T: Deserialize<'a>>(batch: &'a RecordBatch) -> Result<Vec<T>, Failure> {
    decode::rows(batch).map_err(unreadable)
}

/// A SHA-256 as it is kept.
fn whole(hash: &[u8]) -> [u8; 32] {
    hash.try_into().expect("we write SHA-256s of 32 bytes")
}
