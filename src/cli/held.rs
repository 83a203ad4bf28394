//! `bractline held`: the records that could not be accepted.

use super::report::{self, counted};
use super::{Format, Outcome, open_store};
use crate::failure::Failure;
use crate::store::held::{HeldRecord, held_records};
use crate::workspace::Workspace;

/// Show the records that could not be accepted
#[derive(Debug, clap::Subcommand)]
pub enum Held {
    /// List held records with their reasons
    #[command(after_help = "Example:\n  bractline held list --format json")]
    List {
        /// How to report
        #[arg(long, value_enum, default_value = "text")]
        format: Format,
    },
}

impl Held {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let Held::List { format } = self;
        let records = held_records(&open_store(workspace).await?).await?;
        match format {
            Format::Json => report::say_json(&records)?,
            Format::Text => report::say(&text(&records))?,
        }
        Ok(Outcome::Done)
    }
}

fn text(records: &[HeldRecord]) -> String {
    let mut lines = vec![counted(
        records.len() as u64,
        "record is held",
        "records are held",
    )];
    for record in records {
        let visit = record.visit_id.as_deref().unwrap_or("visit unknown");
        let observer = record.observer_id.as_deref().unwrap_or("scout unknown");
        lines.push(format!(
            "{} line {} ({visit}, {observer})",
            record.file_name, record.line
        ));
        lines.extend(record.findings.iter().map(|finding| format!("  {finding}")));
    }
    lines.join("\n")
}
