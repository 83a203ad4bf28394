//! `bractline protocols`: the catalog.

use crate::cli::terminal::format::{Format, Outcome};
use crate::protocols::check::{Checked, check_agree};
use crate::protocols::json::{list_json, show_json};
use crate::protocols::named;
use crate::protocols::text::{list_text, show_text};
use crate::shared::report;
use crate::shared::shown_numbers::Units;
use crate::workspace::Workspace;
use crate::workspace::open::open_catalogue;
use scouting::failure::Failure;
use scouting::protocol::catalogue::Catalogue;
use scouting::protocol::threshold::visit_threshold_sql;

/// Show and check the protocols
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Protocols {
    /// List the protocols: pest and method, stages, threshold
    #[command(after_help = "Example:\n  bractline protocols list")]
    List {
        /// Output format
        #[arg(long, value_enum, default_value_t = Format::Text)]
        format: Format,
    },
    /// Show one protocol: sampling, stages, threshold, timing, cautions, sources
    #[command(after_help = "Example:\n  bractline protocols show bsm-eggs")]
    Show {
        /// Id of the protocol
        id: String,
        /// Output format
        #[arg(long, value_enum, default_value_t = Format::Text)]
        format: Format,
    },
    /// Compute every worked value and compare it with its source
    #[command(after_help = "Example:\n  bractline protocols check")]
    Check {
        /// Output format
        #[arg(long, value_enum, default_value_t = Format::Text)]
        format: Format,
    },
    /// Print the SQL that computes every visit's threshold
    #[command(after_help = "Example:\n  bractline protocols sql")]
    Sql {
        /// Output format
        #[arg(long, value_enum, default_value_t = Format::Text)]
        format: Format,
    },
}

impl Protocols {
    pub(super) fn run(self, workspace: Option<&Workspace>) -> Result<Outcome, Failure> {
        let units = workspace.map_or_else(Units::default, |one| one.settings().units.system);
        let catalogue = match workspace {
            Some(workspace) => open_catalogue(workspace)?,
            None => Catalogue::read(None, store::stages::expression::plan)?,
        };
        match self {
            Protocols::List { format } => {
                format.say(&list_json(&catalogue), || list_text(&catalogue))
            }
            Protocols::Show { id, format } => {
                let protocol = named(&catalogue, &id)?;
                let text = show_text(protocol, units)?;
                format.say(&show_json(protocol)?, || text)
            }
            Protocols::Check { format } => {
                let checked = Checked::of(&catalogue)?;
                match format {
                    Format::Text => checked
                        .iter()
                        .try_for_each(|one| report::say(&one.text()))?,
                    Format::Json => {
                        report::say_json(&serde_json::json!({ "worked_values": checked }))?;
                    }
                }
                check_agree(&checked).map(|()| Outcome::Done)
            }
            Protocols::Sql { format } => {
                let sql = visit_threshold_sql(catalogue.protocols());
                format.say(&serde_json::json!({ "sql": sql }), || sql.clone())
            }
        }
    }
}
