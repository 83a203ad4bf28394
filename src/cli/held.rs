//! `bractline held`: the desk for the records that could not be accepted.

use std::path::PathBuf;

use jiff::Timestamp;

use super::format::{Format, Outcome};
use crate::failure::Failure;
use crate::held::desk::{dropped_text, records_text, send_back};
use crate::held::groups::{Grouped, grouped_text};
use crate::held::returned::ReturnForm;
use crate::shared::report;
use crate::store::delta::tables::Store;
use crate::store::ledger::drop::{Which, drop_held};
use crate::store::ledger::held::{open_entries, open_records};
use crate::visit::held_id::HeldId;
use crate::workspace::Workspace;
use crate::workspace::open::open_store;

/// The desk for records that could not be accepted: show, send back, drop
#[derive(Debug, clap::Subcommand)]
pub enum Held {
    /// Count held records by sender, file and reason, or list each
    #[command(
        after_help = "Examples:\n  bractline held list\n  bractline held list --all --format json\n\nA record is held until a mended one is accepted in its place, or it is dropped."
    )]
    List {
        /// List every record with its reasons
        #[arg(long)]
        all: bool,
        /// How to report
        #[arg(long, value_enum, default_value = "text")]
        format: Format,
    },
    /// Write a spreadsheet and a letter for each sender
    #[command(
        after_help = "Examples:\n  bractline held export --out desk/\n  bractline held export --out desk/ --format ndjson\n\nRecords that came as rows of a spreadsheet go back in columns: held_right names the cells to mend.\nOthers are mended in the column record_mended (or the member \"record\" of a line). The sender sends the\nfile back; `bractline load` takes it without a mapping and closes what it mends."
    )]
    Export {
        /// A new folder for the files
        #[arg(long, value_name = "DIR")]
        out: PathBuf,
        /// The form in which records go back
        #[arg(long, value_enum, default_value = "xlsx")]
        format: Return,
    },
    /// Close held records that are not wanted, saying why
    #[command(
        after_help = "Examples:\n  bractline held drop --reason \"sent by mistake\" --id 3fa94c0d11e27b58-12\n  bractline held drop --reason \"test of the app\" --file test.ndjson --by \"county office\"\n\nNothing is deleted: the record stays in the table held, with who, when and why in held_closed."
    )]
    Drop(Drop),
}

/// How records go back to their senders.
#[derive(Debug, Clone, Copy, clap::ValueEnum)]
pub enum Return {
    /// A spreadsheet a sender.
    Xlsx,
    /// A table of text a sender.
    Csv,
    /// A file a sender, one record a line.
    Ndjson,
}

#[derive(Debug, clap::Args)]
pub struct Drop {
    /// Why
    #[arg(long, value_name = "TEXT", value_parser = said)]
    reason: String,

    /// Who decides; the name of the system's user if it is left out
    #[arg(long, value_name = "WHO", value_parser = said)]
    by: Option<String>,

    #[command(flatten)]
    which: Chosen,

    /// How to report
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

#[derive(Debug, clap::Args)]
#[group(required = true, multiple = false)]
struct Chosen {
    /// These records, by their ids (`held list --all`)
    #[arg(long = "id", value_name = "HELD_ID", num_args = 1..)]
    ids: Vec<HeldId>,

    /// Every held record that came in files of this name
    #[arg(long, value_name = "NAME")]
    file: Option<String>,

    /// Every held record that goes back to this sender (`held list`)
    #[arg(long, value_name = "ID")]
    sender: Option<String>,
}

/// A text that says something.
fn said(text: &str) -> Result<String, String> {
    match text.trim() {
        "" => Err("it must say something".to_owned()),
        text => Ok(text.to_owned()),
    }
}

impl Held {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let store = open_store(workspace).await?;
        match self {
            Held::List { all: true, format } => {
                let records = open_records(&store).await?;
                format.say(&records, || records_text(&records))
            }
            Held::List { all: false, format } => {
                let grouped = Grouped::of(&open_entries(&store).await?);
                format.say(&grouped, || grouped_text(&grouped))
            }
            Held::Export { out, format } => {
                let form = match format {
                    Return::Xlsx => ReturnForm::Xlsx,
                    Return::Csv => ReturnForm::Csv,
                    Return::Ndjson => ReturnForm::Ndjson,
                };
                report::say(&send_back(workspace, &out, form).await?)?;
                Ok(Outcome::Done)
            }
            Held::Drop(drop) => drop.run(&store).await,
        }
    }
}

impl Drop {
    async fn run(self, store: &Store) -> Result<Outcome, Failure> {
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
