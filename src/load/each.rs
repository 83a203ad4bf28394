//! Submissions one after the other, with an account of each.

use jiff::Timestamp;

use super::submissions::{Accounts, Submissions};
use crate::load::loader::Loader;
use crate::shared::report;
use crate::workspace::Workspace;
use crate::workspace::open::{open_catalogue, open_region, open_store, workers};
use intake::judge::judging::Judge;
use intake::mapping::Mapping;
use scouting::failure::Failure;

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
        mapping: None,
        sender: None,
        now,
        begun: |_: &str| {},
    };
    load_each(workspace, submissions, options, &mut accounts).await?;
    Ok(accounts)
}

/// How submissions are loaded.
pub(crate) struct LoadOptions<N, B> {
    /// What the columns of spreadsheets are.
    pub(crate) mapping: Option<Mapping>,
    /// Who sent all of it; without one the mapping or the folder of a file names it.
    pub(crate) sender: Option<String>,
    /// The clock: each load keeps its time.
    pub(crate) now: N,
    /// Called with the name of each submission before it is loaded.
    pub(crate) begun: B,
}

/// Loads submissions one after the other, with an account of each that was loaded.
///
/// # Errors
/// A [`Failure`] if one cannot be loaded; the accounts of those before it are there.
pub(crate) async fn load_each<N: Fn() -> Timestamp, B: Fn(&str)>(
    workspace: &Workspace,
    submissions: &Submissions,
    options: LoadOptions<N, B>,
    accounts: &mut Accounts,
) -> Result<(), Failure> {
    let LoadOptions {
        mapping,
        sender,
        now,
        begun,
    } = options;
    let loader = open_loader(workspace).await?;
    let mut loader = loader.with_mapping(mapping).with_sender(sender);
    for file in &submissions.files {
        begun(&file.name);
        accounts.add(loader.load(file, now()).await?);
    }
    if let Some(advice) = advice(loader.receipt_files()) {
        report::note(&advice);
    }
    Ok(())
}

/// What to do about a store of many small files.
fn advice(receipt_files: usize) -> Option<String> {
    (receipt_files >= LOADS_THAT_SLOW).then(|| {
        format!(
            "{} loads stand in files of their own; `bractline store compact` puts them together, and every command \
             is quick again",
            report::grouped(receipt_files as u64)
        )
    })
}

/// A loader with all that a workspace says.
pub(crate) async fn open_loader(workspace: &Workspace) -> Result<Loader, Failure> {
    let judge = Judge::new(
        &open_catalogue(workspace)?,
        open_region(workspace)?,
        workspace.season()?,
        workspace.settings().defaults.clone(),
    )?;
    let held_doubts = workspace.settings().doubts.hold.clone();
    Loader::new(open_store(workspace).await?, judge, held_doubts, workers()).await
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_store_of_many_small_loads_is_told_of_compact() {
        assert_eq!(advice(LOADS_THAT_SLOW - 1), None);
        let told = advice(2_000).expect("many loads");
        assert!(told.contains("2,000") && told.contains("store compact"));
    }
}
