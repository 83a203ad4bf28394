//! Submissions one after the other, with an account of each.

use std::collections::HashMap;

use jiff::Timestamp;

use super::inbox::found::{Found, What};
use super::sender::sender_by_folder;
use super::submissions::{Accounts, Submissions};
use crate::load::loader::Loader;
use crate::shared::report;
use crate::workspace::Workspace;
use crate::workspace::open::{open_catalogue, open_region, open_store, workers};
use intake::judge::judging::Judge;
use intake::mapping::Mapping;
use intake::mapping::id_prefixes::IdPrefixes;
use intake::read::inbox::fitting_mapping::{FolderMapping, fitting_mapping};
use intake::read::submitted::SubmittedFile;
use scouting::failure::{Failure, Kind};
use scouting::visit::rules::doubts::ALWAYS_HELD;

/// So many loads that were not put together yet cost a further one 2 s (7 ms each: `tests/benches/RESULTS.md`).
const LOADS_THAT_SLOW: usize = 300;

/// Loads submissions one after the other.
pub(crate) async fn load_all(
    workspace: &Workspace,
    submissions: &Submissions,
    now: impl Fn() -> Timestamp,
) -> Result<Accounts, Failure> {
    let mut accounts = Accounts::default();
    let options = LoadOptions {
        columns: Columns::default(),
        sender: None,
        earlier_seasons: Vec::new(),
        supersedes: false,
        stores: true,
        rows_shown: None,
        now,
        begun: |_: &str| {},
    };
    load_each(workspace, submissions, options, &mut accounts).await?;
    Ok(accounts)
}

/// How submissions are loaded.
pub(crate) struct LoadOptions<N, B> {
    /// What the columns of spreadsheets are.
    pub(crate) columns: Columns,
    /// Who sent all of it; without one the mapping or the folder of a file names it.
    pub(crate) sender: Option<String>,
    /// Years whose visits are taken, besides those of the settings, although they are submitted in a later season.
    pub(crate) earlier_seasons: Vec<i16>,
    /// Whether records with other content take the place of those of their visit and revision.
    pub(crate) supersedes: bool,
    /// Whether they are stored; else it is only said what would become of them.
    pub(crate) stores: bool,
    /// How many of the first records are shown, of submissions that are not stored.
    pub(crate) rows_shown: Option<usize>,
    /// The clock: each load keeps its time.
    pub(crate) now: N,
    /// Called with the name of each file before it is loaded.
    pub(crate) begun: B,
}

/// What the columns of spreadsheets are, as named for the whole run.
#[derive(Debug, Default)]
pub(crate) struct Columns {
    /// The mapping of every table; without one, each has that of its folder.
    pub(crate) mapping: Option<Mapping>,
    /// When the records of tables were submitted, where no column says so.
    pub(crate) submitted_at: Option<String>,
}

/// Loads submissions one after the other, with an account of each file. A file that cannot be loaded is refused, and the
/// others are loaded.
///
/// # Errors
/// A [`Failure`] of the store; the accounts of the files before it are there.
pub(crate) async fn load_each<N: Fn() -> Timestamp, B: Fn(&str)>(
    workspace: &Workspace,
    submissions: &Submissions,
    options: LoadOptions<N, B>,
    accounts: &mut Accounts,
) -> Result<(), Failure> {
    let loader = open_loader(workspace, options.earlier_seasons.clone()).await?;
    let loader = loader
        .with_sender(options.sender.clone())
        .superseding(options.supersedes);
    let mut loader = loader.showing(options.rows_shown.filter(|_| !options.stores));
    for found in &submissions.found {
        (options.begun)(&found.name);
        let loaded = match &found.what {
            What::PassedOver(what) => {
                accounts.pass_over(&found.name, what);
                continue;
            }
            What::Refused(failure) => Err(failure.clone()),
            What::Submission { file, mappings } => {
                match mapping_of(file, mappings, &options.columns, is_named(found)) {
                    Err(failure) => Err(failure),
                    Ok(mapping) => {
                        loader.use_mapping(mapping);
                        let file = file.clone().from_sender(sender_by_folder(&found.within));
                        let now = (options.now)();
                        match options.stores {
                            true => loader.load(&file, now).await,
                            false => loader.check(&file, now).await,
                        }
                    }
                }
            }
        };
        match loaded {
            Ok(account) => accounts.add(account),
            Err(failure) if is_of_the_store(&failure) => return Err(failure),
            Err(failure) => accounts.refuse(&found.name, &failure),
        }
    }
    if let Some(advice) = advice(loader.receipt_files()).filter(|_| options.stores) {
        report::note(&advice);
    }
    Ok(())
}

/// The mapping that a file is read by, if it is a table that needs one.
fn mapping_of(
    file: &SubmittedFile,
    mappings: &[FolderMapping],
    columns: &Columns,
    is_named: bool,
) -> Result<Option<Mapping>, Failure> {
    file.check_unchanged()?;
    let mapping = match &columns.mapping {
        // A file that was named with a mapping is to be a table; a folder holds records as well.
        Some(mapping) => (is_named || file.form.is_table()).then_some(mapping),
        None => fitting_mapping(file, mappings)?,
    };
    match (mapping, &columns.submitted_at) {
        (Some(mapping), Some(instant)) => mapping.clone().with_submitted_at(instant).map(Some),
        (mapping, _) => Ok(mapping.cloned()),
    }
}

fn is_named(found: &Found) -> bool {
    found.within.components().count() == 0
}

/// Whether a failure is about the store or the disk, so that no further file can be loaded.
fn is_of_the_store(failure: &Failure) -> bool {
    !matches!(failure.kind(), Kind::Submission | Kind::Settings)
}

/// What to do about a store of many small files.
fn advice(receipt_files: usize) -> Option<String> {
    (receipt_files >= LOADS_THAT_SLOW).then(|| {
        format!(
            "{} loads are in separate small files; `bractline store compact` merges them, and commands are fast again",
            report::grouped(receipt_files as u64)
        )
    })
}

/// A loader with all that a workspace says, and further years that are taken.
pub(super) async fn open_loader(
    workspace: &Workspace,
    mut earlier_seasons: Vec<i16>,
) -> Result<Loader, Failure> {
    earlier_seasons.extend(&workspace.settings().season.earlier);
    let judge = Judge::new(
        &open_catalogue(workspace)?,
        open_region(workspace)?,
        workspace.season()?,
        workspace.settings().defaults.clone(),
    )?
    .with_earlier_seasons(earlier_seasons);
    let mut held_flags = workspace.settings().flags.hold.clone();
    held_flags.extend(ALWAYS_HELD);
    let loader = Loader::new(open_store(workspace).await?, judge, held_flags, workers()).await?;
    Ok(loader.with_prefixes(prefixes(workspace)))
}

/// What is put before the ids of each sender.
fn prefixes(workspace: &Workspace) -> HashMap<String, IdPrefixes> {
    let senders = workspace.settings().senders.iter();
    let prefixes = senders.map(|(name, sender)| {
        let prefixes = IdPrefixes {
            field: sender.field_prefix.clone(),
            scout: sender.scout_prefix.clone(),
        };
        (name.clone(), prefixes)
    });
    prefixes
        .filter(|(_, prefixes)| !prefixes.is_none())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_store_of_many_small_loads_is_told_of_compact() {
        assert_eq!(advice(LOADS_THAT_SLOW - 1), None);
        let advice_text = advice(2_000).expect("many loads");
        assert!(advice_text.contains("2,000") && advice_text.contains("store compact"));
    }
}
