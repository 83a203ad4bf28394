//! What is done with the store: load, issue, drop, compact, vacuum.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};
use scouting::failure::Failure;
use store::alerts::issued_alert::IssuedAlert;
use store::alerts::table::AlertBook;
use store::delta::append::Sealed;
use store::delta::compact::compact;
use store::delta::tables::Store;
use store::delta::vacuum::{Limit, vacuum};

use crate::support::TestWorkspace;
use crate::support::in_process::{load, loader, rolled_up};

/// What is done to a store.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Deed {
    Load,
    RollUp,
    Issue,
    Compact,
    Vacuum,
}

pub const DEEDS: [Deed; 5] = [
    Deed::Load,
    Deed::RollUp,
    Deed::Issue,
    Deed::Compact,
    Deed::Vacuum,
];

pub async fn open(workspace: &TestWorkspace) -> std::result::Result<Store, Failure> {
    Store::in_folder(&workspace.path().join("store"))?
        .opened()
        .await
}

impl Deed {
    pub async fn run(
        self,
        store: &Store,
        workspace: &TestWorkspace,
    ) -> std::result::Result<Option<Figures>, Failure> {
        match self {
            Deed::Load => {
                let mut loader = loader(store.clone()).await?;
                load(&mut loader, &workspace.beside("next")).await?;
            }
            Deed::RollUp => return rolled_up(store).await.map(Some),
            Deed::Issue => {
                let book = AlertBook::open(store).await?;
                // The row of this attempt may be there although an error was reported.
                if !book.issued().iter().any(|alert| alert.issue_id == ISSUE_ID) {
                    let alert = IssuedAlert {
                        number: book.next_number(),
                        issue_id: ISSUE_ID.to_owned(),
                        ..book.issued()[0].clone()
                    };
                    let sealed = book.enter(store, &alert).await?;
                    assert_eq!(sealed, Sealed::Done, "nobody else issues");
                }
            }
            Deed::Compact => {
                compact(store, Timestamp::now(), false).await?;
            }
            Deed::Vacuum => {
                let limit = Limit::new(Timestamp::now(), SignedDuration::ZERO);
                vacuum(store, limit, false).await?;
            }
        }
        Ok(None)
    }
}

const ISSUE_ID: &str = "0198c0de-0000-7000-8000-000000000001";

pub type Figures = BTreeMap<&'static str, Vec<u8>>;
