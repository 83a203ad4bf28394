//! `bractline held drop`: records that are not wanted.

use jiff::Timestamp;

use crate::cli::format::{Format, Outcome};
use crate::held::desk::dropped_text;
use scouting::failure::Failure;
use scouting::visit::held_id::HeldId;
use store::delta::tables::Store;
use store::ledger::drop::{Which, drop_held};

#[derive(Debug, clap::Args)]
pub(crate) struct HeldDrop {
    /// Why
    #[arg(long, value_name = "TEXT", value_parser = said)]
    reason: String,

    /// Who decided [default: the name of the system's user]
    #[arg(long, value_name = "WHO", value_parser = said)]
    by: Option<String>,

    #[command(flatten)]
    which: Chosen,

    /// Output format
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

#[derive(Debug, clap::Args)]
#[group(required = true, multiple = false)]
struct Chosen {
    /// These records, by their ids (`held list --all`)
    #[arg(long = "id", value_name = "HELD_ID", num_args = 1..)]
    ids: Vec<HeldId>,

    /// Every held record from files of this name
    #[arg(long, value_name = "NAME")]
    file: Option<String>,

    /// Every held record that goes back to this sender (`held list`)
    #[arg(long, value_name = "ID")]
    sender: Option<String>,
}

/// A text that is not empty.
fn said(text: &str) -> Result<String, String> {
    match text.trim() {
        "" => Err("the text must not be empty".to_owned()),
        text => Ok(text.to_owned()),
    }
}

impl HeldDrop {
    pub(in crate::cli) async fn run(self, store: &Store) -> Result<Outcome, Failure> {
        let which = match (self.which.file, self.which.sender) {
            (Some(name), _) => Which::File(name),
            (None, Some(sender)) => Which::Sender(sender),
            (None, None) => Which::Ids(self.which.ids),
        };
        let who = self.by.unwrap_or_else(system_user);
        let dropped = drop_held(store, &which, &self.reason, &who, Timestamp::now()).await?;
        self.format
            .say(&dropped, || dropped_text(&dropped, &who, &self.reason))
    }
}

/// The name under which the system knows the user.
fn system_user() -> String {
    ["USER", "LOGNAME", "USERNAME"]
        .iter()
        .filter_map(|name| std::env::var(name).ok())
        .find(|name| !name.trim().is_empty())
        .unwrap_or_else(|| "not stated".to_owned())
}
