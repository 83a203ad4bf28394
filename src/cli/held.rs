//! `bractline held`: the desk for the records that could not be accepted.

use std::path::PathBuf;

use jiff::Timestamp;

use super::held_groups::{Grouped, grouped_text};
use super::table_cells::table_cell;
use super::{Format, Outcome, open_store};
use crate::failure::{Failure, Kind};
use crate::held::correction_sheet::{MendableRow, mendable_record};
use crate::held::returned::{
    ReturnForm, ReturnedMend, ReturnedRecord, ReturnedRow, ReturnedRows, files_of_sender,
};
use crate::shared::files::write_private_folder;
use crate::shared::report;
use crate::shared::report::counted;
use crate::shared::table_files::TableCell;
use crate::store::drop::{Which, drop_held};
use crate::store::held::{HeldEntry, HeldRecord, Sender, open_entries, open_records};
use crate::visit::finding::Finding;
use crate::visit::held_id::HeldId;
use crate::workspace::Workspace;

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
        match self {
            Held::List { all: true, format } => list_all(workspace, format).await,
            Held::List { all: false, format } => list_groups(workspace, format).await,
            Held::Export { out, format } => export(workspace, &out, format).await,
            Held::Drop(drop) => drop.run(workspace).await,
        }
    }
}

async fn list_groups(workspace: &Workspace, format: Format) -> Result<Outcome, Failure> {
    let grouped = Grouped::of(&open_entries(&open_store(workspace).await?).await?);
    match format {
        Format::Json => report::say_json(&grouped)?,
        Format::Text => report::say(&grouped_text(&grouped))?,
    }
    Ok(Outcome::Done)
}

async fn list_all(workspace: &Workspace, format: Format) -> Result<Outcome, Failure> {
    let records = open_records(&open_store(workspace).await?).await?;
    match format {
        Format::Json => report::say_json(&records)?,
        Format::Text => {
            let mut lines = vec![are_held(records.len())];
            for record in &records {
                lines.push(entry_text(&record.entry));
                let findings = record.entry.findings.iter();
                lines.extend(findings.map(|finding| format!("  {finding}")));
            }
            report::say(&lines.join("\n"))?;
        }
    }
    Ok(Outcome::Done)
}

/// `2 records are held`.
pub(super) fn are_held(records: usize) -> String {
    counted(records as u64, "record is held", "records are held")
}

fn entry_text(entry: &HeldEntry) -> String {
    format!(
        "{} {} line {} ({}, {})",
        entry.held_id,
        entry.file_name,
        entry.line,
        entry.visit_id.as_deref().unwrap_or("visit unknown"),
        entry.observer_id.as_deref().unwrap_or("scout unknown")
    )
}

/// Every file is made before the folder is: it appears whole, or not at all.
async fn export(
    workspace: &Workspace,
    out: &std::path::Path,
    form: Return,
) -> Result<Outcome, Failure> {
    if std::fs::read_dir(out).is_ok_and(|mut entries| entries.next().is_some()) {
        return Err(Failure::new(
            Kind::Files,
            format!("cannot export to {}: it is not empty", out.display()),
        )
        .mend("name a new folder: letters of an earlier export must not lie among the new ones"));
    }
    let records = open_records(&open_store(workspace).await?).await?;
    if records.is_empty() {
        report::say("no record is held: nothing to send back")?;
        return Ok(Outcome::Done);
    }
    let form = match form {
        Return::Xlsx => ReturnForm::Xlsx,
        Return::Csv => ReturnForm::Csv,
        Return::Ndjson => ReturnForm::Ndjson,
    };
    let mut said = Vec::new();
    let mut files = Vec::new();
    for (sender, records) in by_sender(records) {
        // A scout and a file may bear one name.
        let named = match &sender {
            Sender::Observer(name) => name.clone(),
            Sender::File(name) => format!("file {name}"),
        };
        let of_sender = files_of_sender(&named, &records, form)?;
        let names: Vec<&str> = of_sender.iter().map(|(name, _)| name.as_str()).collect();
        said.push(format!(
            "{named}: {} → {}",
            counted(records.len() as u64, "record", "records"),
            names.join(", ")
        ));
        files.extend(of_sender);
    }
    let files: Vec<(&str, &[u8])> = files
        .iter()
        .map(|(name, bytes)| (name.as_str(), bytes.as_slice()))
        .collect();
    write_private_folder(out, &files)?;
    said.push(format!("in {}", out.display()));
    report::say(&said.join("\n"))?;
    Ok(Outcome::Done)
}

/// Senders in the order of their names, their records in the order of arrival.
fn by_sender(records: Vec<HeldRecord>) -> Vec<(Sender, Vec<ReturnedRecord>)> {
    let mut senders: std::collections::BTreeMap<Sender, Vec<ReturnedRecord>> = Default::default();
    for HeldRecord { entry, record } in records {
        senders
            .entry(entry.sender())
            .or_default()
            .push(ReturnedRecord {
                held_id: entry.held_id.to_string(),
                file_name: entry.file_name,
                line: entry.line,
                visit_id: entry.visit_id,
                rows: returned_rows(&record, &entry.findings),
                findings: entry.findings,
                record,
            });
    }
    senders.into_iter().collect()
}

/// The record in columns, if it came as rows and each cell can hold its part.
fn returned_rows(record: &str, findings: &[Finding]) -> Option<ReturnedRows> {
    let laid_out = mendable_record(record, findings)?;
    let rows: Vec<ReturnedRow> = laid_out.rows.into_iter().map(returned_row).collect();
    let cells = rows.iter().flat_map(|row| &row.cells);
    let fits = cells.into_iter().all(TableCell::fits);
    fits.then_some(ReturnedRows {
        place: laid_out.place,
        as_sent: laid_out.as_sent,
        id_recipe: laid_out.id_recipe,
        header: laid_out.header,
        rows,
        record: laid_out.record,
    })
}

fn returned_row(row: MendableRow) -> ReturnedRow {
    let to_mend = row.to_mend.into_iter().map(|mend| ReturnedMend {
        columns: mend.columns,
        wrong: mend.wrong,
        right: mend.right,
    });
    ReturnedRow {
        cells: row.cells.into_iter().map(table_cell).collect(),
        to_mend: to_mend.collect(),
    }
}

impl Drop {
    async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let which = match (self.which.file, self.which.sender) {
            (Some(name), _) => Which::File(name),
            (None, Some(sender)) => Which::Sender(sender),
            (None, None) => Which::Ids(self.which.ids),
        };
        let who = self.by.unwrap_or_else(system_user);
        let store = open_store(workspace).await?;
        let dropped = drop_held(&store, &which, &self.reason, &who, Timestamp::now()).await?;
        match self.format {
            Format::Json => report::say_json(&dropped)?,
            Format::Text => {
                let sum = counted(dropped.len() as u64, "record", "records");
                let mut lines = vec![format!("dropped {sum} ({who}: {})", self.reason)];
                lines.extend(dropped.iter().map(entry_text));
                report::say(&lines.join("\n"))?;
            }
        }
        Ok(Outcome::Done)
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
