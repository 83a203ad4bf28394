//! `bractline held`: the desk for the records that could not be accepted.

mod drop;

use std::path::PathBuf;

use clap::ValueEnum;
use clap::builder::PossibleValue;

use crate::cli::terminal::format::{Format, Outcome};
use crate::held::desk::{records_text, send_back};
use crate::held::groups::{Grouped, grouped_text};
use crate::held::record::ReturnForm;
use crate::shared::report;
use crate::workspace::Workspace;
use crate::workspace::open::open_store;
use drop::{HeldDrop, HeldRestore};
use scouting::failure::Failure;
use store::ledger::held::{open_entries, open_records};

/// Review held records: list them, return them to their senders, drop or restore them
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Held {
    /// Count held records by sender, file and reason, or list each
    #[command(
        after_help = "Examples:\n  bractline held list\n  bractline held list --all --format json\n\nA record stays on hold until a corrected one is accepted in its place, or it is dropped."
    )]
    List {
        /// List every record with its reasons
        #[arg(long)]
        all: bool,
        /// Output format
        #[arg(long, value_enum, default_value = "text")]
        format: Format,
    },
    /// Write a spreadsheet and a letter for each sender
    #[command(
        after_help = "Examples:\n  bractline held export --out desk/\n  bractline held export --out desk/ --format ndjson\n\nRecords that came as rows of a spreadsheet go back in columns: held_expected names the cells to correct. Others are corrected in the column record_corrected (or the member \"record\" of a line). The sender sends the file back; `bractline load` takes it without a mapping and closes the records that it corrects."
    )]
    Export {
        /// New folder for the files
        #[arg(long, value_name = "DIR")]
        out: PathBuf,
        /// File format of the records sent back
        #[arg(long, value_enum, default_value = "xlsx")]
        format: ReturnForm,
    },
    /// Close held records that are not needed, with a reason
    #[command(
        after_help = "Examples:\n  bractline held drop --reason \"sent by mistake\" --id 3fa94c0d11e27b58-12\n  bractline held drop --reason \"test of the app\" --file test.ndjson --by \"county office\" --yes\n\nWithout --yes the records are shown and nothing is changed, unless you say yes on a terminal. Nothing is deleted: the record stays in the table held, with who, when and why in held_closed, and `held restore` opens it again."
    )]
    Drop(HeldDrop),
    /// Open dropped records again, saying why
    #[command(
        after_help = "Examples:\n  bractline held restore 3fa94c0d11e27b58-12 --reason \"dropped by mistake\"\n\nThe drop stays on record in held_closed, and so does this, with who, when and why."
    )]
    Restore(HeldRestore),
}

impl ValueEnum for ReturnForm {
    fn value_variants<'a>() -> &'a [ReturnForm] {
        &[ReturnForm::Xlsx, ReturnForm::Csv, ReturnForm::Ndjson]
    }

    fn to_possible_value(&self) -> Option<PossibleValue> {
        let (name, help) = match self {
            ReturnForm::Xlsx => ("xlsx", "A spreadsheet a sender"),
            ReturnForm::Csv => ("csv", "A table of text a sender"),
            ReturnForm::Ndjson => ("ndjson", "A file a sender, one record a line"),
        };
        Some(PossibleValue::new(name).help(help))
    }
}

impl Held {
    pub(in crate::cli) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
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
                report::say(&send_back(workspace, &out, format).await?)?;
                Ok(Outcome::Done)
            }
            Held::Drop(drop) => drop.run(&store).await,
            Held::Restore(restore) => restore.run(&store).await,
        }
    }
}
