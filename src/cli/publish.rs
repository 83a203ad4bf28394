//! `bractline publish`: the issued alerts to where people read them.

use crate::alert::publish::publishing::publish;
use crate::cli::terminal::format::{Format, Outcome};
use crate::workspace::Workspace;
use scouting::failure::Failure;

/// Copy the issued alerts, their feed and their list to a public folder or bucket
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline publish --to /srv/www/alerts\n  bractline publish --to s3://bucket/alerts\n\nCopies issued alerts, a page for each week, the newest alert of each pest (latest/PROTOCOL/, latest/index.html, latest/latest.json), feed.xml and index.html, and nothing else. The page of an alert that was replaced gets a link to the newer one. Of a withdrawn alert a stub with the reason is left. Every file is checked before the first is written: one that would identify a farm stops everything. Files already there stay; an issued file that was changed there is an error. A bucket's region and keys come from AWS_REGION, AWS_ACCESS_KEY_ID …"
)]
pub(crate) struct Publish {
    /// A folder, file://… or s3://BUCKET/PREFIX
    #[arg(long, value_name = "PLACE")]
    to: String,

    /// Output format
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl Publish {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let publication = publish(workspace, &self.to).await?;
        self.format.say(&publication.json(), || publication.text())
    }
}
