//! Revisions that the office itself brings: an edit of a visit, or a load taken back.
//!
//! They go the way of every submission, through a file of records, the judge and a receipt that adds up. Two things
//! are different: the receipt says who made them, why and what for, and either all of them are accepted or none is.

use std::collections::HashMap;
use std::io::Write;
use std::path::Path;
use std::sync::Arc;

use jiff::Timestamp;
use tempfile::NamedTempFile;

use super::account::Account;
use super::loader::Loader;
use super::provenance::Provenance;
use crate::load::each::open_loader;
use crate::workspace::Workspace;
use intake::read::formats::look_at;
use intake::read::submitted::SubmittedFile;
use scouting::failure::{Failure, Kind};
use scouting::visit::record::Visit;
use store::rows::closings::ClosingRow;
use store::rows::receipt::Origin;

/// How often what the office brings is made again for a store that has changed meanwhile.
const ATTEMPTS_MAX: usize = 50;

/// What the office brings at once.
#[derive(Debug, Clone, Default)]
pub(crate) struct Own {
    /// What the receipt says in the place of a file's name: `edit of visit V-12`.
    pub(crate) name: String,
    /// The revisions, each with the sender that it keeps.
    pub(crate) revisions: Vec<(Visit, Option<String>)>,
    /// Held records that it closes.
    pub(crate) closings: Vec<ClosingRow>,
    /// The load that it takes back or brings back.
    pub(crate) undoes: Option<String>,
    /// Why.
    pub(crate) reason: String,
    /// Who.
    pub(crate) who: String,
    /// The version of the receipts that it was decided on.
    pub(crate) decided_on: Option<u64>,
}

impl Own {
    /// Where its revisions come from.
    fn provenance(&self) -> Provenance {
        let senders = self
            .revisions
            .iter()
            .map(|(visit, sender)| (visit.visit_id.clone(), sender.as_deref().map(Arc::from)));
        Provenance {
            origin: Origin {
                sender: None,
                undoes: self.undoes.clone(),
                reason: Some(self.reason.clone()),
                who: Some(self.who.clone()),
            },
            senders: senders.collect(),
        }
    }
}

/// A loader of a workspace for what the office brings. What differs from earlier visits is flagged, or held back as the settings
/// say; with `judged_before` it is flagged only.
pub(crate) async fn own_loader(
    workspace: &Workspace,
    judged_before: bool,
) -> Result<Loader, Failure> {
    // What it brings are visits of the store, whose ids have their prefixes.
    let loader = open_loader(workspace, Vec::new()).await?;
    let loader = loader.with_prefixes(HashMap::new());
    Ok(match judged_before {
        true => loader.holding_no_flag(),
        false => loader,
    })
}

impl Loader {
    /// Loads what the office brings; `None` if the store has changed since it was decided.
    ///
    /// # Errors
    /// A [`Failure`] if a revision is not acceptable: then nothing is changed.
    pub(crate) async fn load_own(
        &mut self,
        own: &Own,
        now: Timestamp,
    ) -> Result<Option<Account>, Failure> {
        if self.version() != own.decided_on {
            return Ok(None);
        }
        let (file, _records) = records_file(own)?;
        let provenance = own.provenance();
        self.load_whole(&file, provenance, &own.closings, now).await
    }

    /// What is wrong with the revisions that the office would bring; nothing is changed.
    ///
    /// # Errors
    /// A [`Failure`] if they cannot be judged.
    pub(crate) async fn check_own(
        &mut self,
        own: &Own,
        now: Timestamp,
    ) -> Result<Account, Failure> {
        let (file, _records) = records_file(own)?;
        self.check(&file, now).await
    }
}

/// Makes what the office brings, again if the store has changed meanwhile, and loads it.
///
/// # Errors
/// As [`Loader::load_own`], or if the store stays busy.
pub(crate) async fn load_decided<T>(
    workspace: &Workspace,
    judged_before: bool,
    now: Timestamp,
    mut decide: impl AsyncFnMut() -> Result<(Own, T), Failure>,
) -> Result<(Account, T), Failure> {
    for _ in 0..ATTEMPTS_MAX {
        let (own, decided) = decide().await?;
        let mut loader = own_loader(workspace, judged_before).await?;
        if let Some(account) = loader.load_own(&own, now).await? {
            return Ok((account, decided));
        }
    }
    Err(Failure::new(Kind::Busy, "the store stayed busy")
        .mend("run the command again when the loads are through; nothing was changed"))
}

/// The records in a private file of their own, which is gone when it is dropped.
fn records_file(own: &Own) -> Result<(SubmittedFile, NamedTempFile), Failure> {
    let failed = |error| Failure::file("keep", Path::new(&own.name), error);
    let mut records = NamedTempFile::new().map_err(failed)?;
    for (visit, _) in &own.revisions {
        let mut line = serde_json::to_vec(visit).expect("a visit is plain JSON");
        line.push(b'\n');
        records.write_all(&line).map_err(failed)?;
    }
    records.flush().map_err(failed)?;
    Ok((look_at(records.path(), &own.name)?, records))
}
