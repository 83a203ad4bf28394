//! One record of a submission as it was sent: bytes, or rows of a table.

use bytes::Bytes;

use crate::corrections::kept_rows::{kept, without_half_made_id};
use crate::corrections::made_identity::identified_by;
use crate::corrections::returned::Returned;
use crate::mapping::id_prefixes::IdPrefixes;
use crate::mapping::made_id::{made_id, prefixes_of, putting};
use crate::sheet::table::TableRecord;
use scouting::visit::finding::Finding;
use scouting::visit::held_id::HeldId;

/// Records are read in chunks of about this size, and those of a chunk share its memory.
pub(crate) const CHUNK_BYTES: usize = 1 << 20;

/// One record as it was sent.
#[derive(Debug, Clone)]
pub struct RawRecord {
    /// Line of the submission, or place among the records of a JSON text, from 1.
    pub line: u64,
    /// What was sent.
    pub sent: Sent,
    /// The held record that it was sent to correct.
    pub mends: Option<HeldId>,
    /// What it says besides its values, if it comes back from a sheet that was sent out to be corrected.
    pub returned: Option<Box<Returned>>,
}

/// The two forms in which a record is sent.
#[derive(Debug, Clone)]
pub enum Sent {
    /// Its bytes, without the line's end.
    Bytes(Bytes),
    /// Rows of a table, and what was made of them.
    Rows(Box<TableRecord>),
}

impl RawRecord {
    /// Rows of a table as all records are judged; of what is held, [`crate::corrections::kept_rows`] says what is kept.
    pub(crate) fn of_rows(record: TableRecord) -> RawRecord {
        RawRecord {
            line: record.line,
            sent: Sent::Rows(Box::new(without_half_made_id(record))),
            mends: None,
            returned: None,
        }
    }

    /// Gives rows without an identity the one that a recipe makes of them; without a recipe that is a finding.
    pub fn identify(&mut self, recipe: Option<&str>) {
        if let Sent::Rows(rows) = &mut self.sent {
            let record = identified_by((**rows).clone(), recipe);
            **rows = without_half_made_id(record);
        }
    }

    /// A record of rows whose identity is made, with the prefixes of its sender in how it is made: they come back with it
    /// when it was corrected. Those that a mapping puts come before them.
    pub(crate) fn with_prefixes(mut self, prefixes: &IdPrefixes) -> RawRecord {
        if prefixes.is_none() || self.prefixes().is_some() {
            return self;
        }
        if let Sent::Rows(rows) = &mut self.sent {
            put_in_recipe(rows, prefixes);
        }
        self
    }

    /// What the other records of its table make doubtful about it.
    pub(crate) fn doubts(&self) -> &[Finding] {
        match &self.sent {
            Sent::Rows(rows) => &rows.doubts,
            Sent::Bytes(_) => &[],
        }
    }

    /// The prefixes that belong to the record itself, if there are any.
    pub(crate) fn prefixes(&self) -> Option<IdPrefixes> {
        match &self.sent {
            Sent::Rows(rows) => {
                let recipe = rows.id_recipe.as_deref()?;
                Some(prefixes_of(recipe).0).filter(|prefixes| !prefixes.is_none())
            }
            Sent::Bytes(_) => None,
        }
    }

    /// What is kept of the record if it is held. Of bytes a copy, so that a small record does not keep its
    /// whole chunk.
    pub fn kept(&self) -> Bytes {
        match &self.sent {
            Sent::Bytes(bytes) if bytes.len() < CHUNK_BYTES / 2 => Bytes::copy_from_slice(bytes),
            Sent::Bytes(bytes) => bytes.clone(),
            Sent::Rows(rows) => kept(rows),
        }
    }

    /// How many bytes were sent, about.
    pub fn weight(&self) -> usize {
        match &self.sent {
            Sent::Bytes(bytes) => bytes.len(),
            Sent::Rows(rows) => rows.as_sent.len(),
        }
    }
}

/// Puts prefixes into how an identity is made, and makes it again. One that could not be made stays away.
fn put_in_recipe(rows: &mut TableRecord, prefixes: &IdPrefixes) {
    let Some(recipe) = &mut rows.id_recipe else {
        return;
    };
    *recipe = putting(prefixes, recipe);
    let read = rows.document.as_mut().unwrap_or(&mut rows.draft);
    let made = read
        .as_object_mut()
        .filter(|read| read.contains_key("visit_id"));
    if let Some(members) = made {
        let id = made_id(recipe, members);
        members.insert("visit_id".to_owned(), id.into());
    }
}
