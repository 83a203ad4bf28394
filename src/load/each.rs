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
        earlier_seasons: Vec::new(),
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
    /// Years whose visits are taken, besides those of the settings, although they are submitted in a later season.
    pub(crate) earlier_seasons: Vec<i16>,
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
        earlier_seasons,
        now,
        begun,
    } = options;
    let mut loader = open_loader(workspace, earlier_seasons)
        .await?
        .with_mapping(mapping);
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
            "{} loads are in separate small files; `bractline store compact` merges them, and commands are fast again",
            report::grouped(receipt_files as u64)
        )
    })
}

/// A loader with all that a workspace says, and further years that are taken.
pub(crate) async fn open_loader(
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
    let held_flags = workspace.settings().flags.hold.clone();
    Loader::new(open_store(workspace).await?, judge, held_flags, workers()).await
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
