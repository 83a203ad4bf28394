//! `bractline protocols`: the catalogue.

use serde::Serialize;

use super::protocol_text::{list_text, show_text};
use super::{Format, Outcome, open_catalogue};
use crate::failure::{Failure, Kind};
use crate::protocol::catalogue::{Catalogue, Protocol};
use crate::protocol::threshold::{agrees, visit_threshold_sql, worked_values};
use crate::shared::cautions::standing_cautions;
use crate::shared::report;
use crate::workspace::Workspace;

/// Show and check the protocols
#[derive(Debug, clap::Subcommand)]
pub enum Protocols {
    /// List the protocols: pest and method, stages, threshold
    #[command(after_help = "Example:\n  bractline protocols list")]
    List {
        /// How to report
        #[arg(long, value_enum, default_value_t = Format::Text)]
        format: Format,
    },
    /// Show one protocol: sampling, stages, threshold, timing, cautions, sources
    #[command(after_help = "Example:\n  bractline protocols show bsm-eggs")]
    Show {
        /// Id of the protocol
        id: String,
        /// How to report
        #[arg(long, value_enum, default_value_t = Format::Text)]
        format: Format,
    },
    /// Compute every worked value and compare it with its source
    #[command(after_help = "Example:\n  bractline protocols check")]
    Check {
        /// How to report
        #[arg(long, value_enum, default_value_t = Format::Text)]
        format: Format,
    },
    /// Print the SQL that computes every visit's threshold
    #[command(after_help = "Example:\n  bractline protocols sql")]
    Sql {
        /// How to report
        #[arg(long, value_enum, default_value_t = Format::Text)]
        format: Format,
    },
}

/// A worked value beside what was found.
#[derive(Serialize)]
struct Checked<'a> {
    protocol: &'a str,
    agrees: bool,
    found: f64,
    expected: f64,
    tolerance: f64,
    source: &'a str,
}

impl Protocols {
    pub(super) fn run(self, workspace: Option<&Workspace>) -> Result<Outcome, Failure> {
        let catalogue = match workspace {
            Some(workspace) => open_catalogue(workspace)?,
            None => Catalogue::read(None, crate::rollup::expression::plan)?,
        };
        match self {
            Protocols::List { format } => list(&catalogue, format)?,
            Protocols::Show { id, format } => {
                let protocol = catalogue.protocol(&id).ok_or_else(|| {
                    Failure::new(Kind::Protocol, format!("no protocol {id:?}"))
                        .mend(format!("the catalogue has {}", catalogue.ids()))
                })?;
                show(protocol, format)?;
            }
            Protocols::Check { format } => check(&catalogue, format)?,
            Protocols::Sql { format } => {
                let sql = visit_threshold_sql(catalogue.protocols());
                match format {
                    Format::Text => report::say(&sql)?,
                    Format::Json => report::say_json(&serde_json::json!({ "sql": sql }))?,
                }
            }
        }
        Ok(Outcome::Done)
    }
}

fn list(catalogue: &Catalogue, format: Format) -> Result<(), Failure> {
    match format {
        Format::Text => report::say(&list_text(catalogue)),
        Format::Json => {
            let protocols: Vec<serde_json::Value> = catalogue
                .protocols()
                .map(|protocol| {
                    serde_json::json!({
                        "id": protocol.id,
                        "title": protocol.title,
                        "pest": protocol.pest,
                        "crop": protocol.crop,
                        "crop_types": protocol.crop_types,
                        "counted": protocol.counted,
                        "layout": protocol.layout,
                        "decision": protocol.decision,
                        "stages": [protocol.stages.first, protocol.stages.last],
                        "threshold": protocol.threshold.formula.trim(),
                    })
                })
                .collect();
            report::say_json(&serde_json::json!({ "protocols": protocols }))
        }
    }
}

fn show(protocol: &Protocol, format: Format) -> Result<(), Failure> {
    match format {
        Format::Text => report::say(&show_text(protocol)?),
        Format::Json => {
            let standing = standing_cautions(&protocol.crop, protocol.timing.treat_at.as_deref());
            let standing: Vec<String> = standing.into_iter().map(|caution| caution.text).collect();
            report::say_json(&serde_json::json!({
                "protocol": protocol,
                "worked_values": worked_values(protocol)?,
                "standing_cautions": standing,
            }))
        }
    }
}

fn check(catalogue: &Catalogue, format: Format) -> Result<(), Failure> {
    let mut all = Vec::new();
    for protocol in catalogue.protocols() {
        for (check, found) in protocol.checks.iter().zip(worked_values(protocol)?) {
            all.push(Checked {
                protocol: &protocol.id,
                agrees: agrees(check, found),
                found,
                expected: check.expect,
                tolerance: check.tolerance,
                source: &check.source,
            });
        }
    }
    let wrong = all.iter().filter(|checked| !checked.agrees).count();
    match format {
        Format::Text => {
            for checked in &all {
                report::say(&format!(
                    "{} {}: {:.5}, {} ± {} in: {}",
                    if checked.agrees { "agrees" } else { "DIFFERS" },
                    checked.protocol,
                    checked.found,
                    checked.expected,
                    checked.tolerance,
                    checked.source
                ))?;
            }
        }
        Format::Json => report::say_json(&serde_json::json!({ "worked_values": all }))?,
    }
    if wrong > 0 {
        return Err(Failure::new(
            Kind::Protocol,
            format!("{wrong} worked values differ from their source"),
        )
        .mend("mend the expression, its units, or the expected value"));
    }
    Ok(())
}
