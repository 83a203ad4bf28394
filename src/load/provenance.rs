//! Where the records of a submission come from: who sent them and, of what the office brings, who made it and why.

use std::collections::HashMap;
use std::sync::Arc;

use intake::read::submitted::SubmittedFile;
use store::rows::receipt::Origin;

/// Where the records of a submission come from.
#[derive(Debug, Clone, Default)]
pub(super) struct Provenance {
    pub(super) origin: Origin,
    /// Of a submission with records of several senders: who sent each visit.
    pub(super) senders: HashMap<String, Option<Arc<str>>>,
}

impl Provenance {
    /// That of a file that somebody sent.
    pub(super) fn of(file: &SubmittedFile) -> Provenance {
        Provenance {
            origin: Origin {
                sender: file.sender.clone(),
                ..Origin::default()
            },
            senders: HashMap::new(),
        }
    }

    /// Who sent a visit.
    pub(super) fn sender(&self, visit_id: Option<&str>) -> Option<Arc<str>> {
        match visit_id.and_then(|visit_id| self.senders.get(visit_id)) {
            Some(sender) => sender.clone(),
            None => self.origin.sender.as_deref().map(Arc::from),
        }
    }
}
