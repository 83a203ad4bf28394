//! `bractline protocols`: the catalogue.

use super::{Outcome, open_catalogue, report};
use crate::failure::{Failure, Kind};
use crate::protocol::catalogue::{Catalogue, Protocol};
use crate::protocol::threshold::{agrees, visit_threshold_sql, worked_values};
use crate::workspace::Workspace;

/// Show and check the protocols
#[derive(Debug, clap::Subcommand)]
pub enum Protocols {
    /// List the protocols
    #[command(after_help = "Example:\n  bractline protocols list")]
    List,
    /// Show one protocol: sampling, stages, threshold, timing, cautions, sources
    #[command(after_help = "Example:\n  bractline protocols show bsm-eggs")]
    Show {
        /// Id of the protocol
        id: String,
    },
    /// Compute every worked value and compare it with its source
    #[command(after_help = "Example:\n  bractline protocols check")]
    Check,
    /// Print the SQL that computes every visit's threshold
    #[command(after_help = "Example:\n  bractline protocols sql")]
    Sql,
}

impl Protocols {
    pub(super) async fn run(self, workspace: Option<&Workspace>) -> Result<Outcome, Failure> {
        let catalogue = match workspace {
            Some(workspace) => open_catalogue(workspace)?,
            None => Catalogue::read(None)?,
        };
        match self {
            Protocols::List => {
                let lines: Vec<String> = catalogue
                    .protocols()
                    .map(|protocol| format!("{:<14} {}", protocol.id, protocol.title))
                    .collect();
                report::say(&lines.join("\n"))?;
            }
            Protocols::Show { id } => {
                let protocol = catalogue.protocol(&id).ok_or_else(|| {
                    Failure::new(Kind::Protocol, format!("no protocol {id:?}"))
                        .mend(format!("the catalogue has {}", catalogue.ids()))
                })?;
                report::say(&shown(protocol))?;
            }
            Protocols::Check => check(&catalogue).await?,
            Protocols::Sql => report::say(&visit_threshold_sql(&catalogue))?,
        }
        Ok(Outcome::Done)
    }
}

async fn check(catalogue: &Catalogue) -> Result<(), Failure> {
    let mut wrong = 0;
    for protocol in catalogue.protocols() {
        let values = worked_values(protocol).await?;
        for (check, found) in protocol.checks.iter().zip(values) {
            let agrees = agrees(check, found);
            wrong += usize::from(!agrees);
            report::say(&format!(
                "{} {}: {:.4}, {} ± {} in: {}",
                if agrees { "agrees" } else { "DIFFERS" },
                protocol.id,
                found,
                check.expect,
                check.tolerance,
                check.source
            ))?;
        }
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

fn shown(protocol: &Protocol) -> String {
    let Protocol {
        sample,
        stages,
        threshold,
        timing,
        ..
    } = protocol;
    let mut lines = vec![
        format!("{} ({})", protocol.title, protocol.id),
        format!("pest       {}", protocol.pest),
        format!(
            "crop       {} ({})",
            protocol.crop,
            protocol.crop_types.join(", ")
        ),
        format!("counted    {}", protocol.counted),
        format!("sampling   {}", sample.plan),
        format!("           source: {}", sample.source),
        format!("stages     {} to {}", stages.first, stages.last),
        format!("           source: {}", stages.source),
        format!("threshold  {}: {}", threshold.kind, threshold.formula),
        format!("           SQL: {}", threshold.expression),
        format!("           source: {}", threshold.source),
        format!("treatment  {}", timing.treat),
        format!("           source: {}", timing.source),
    ];
    for caution in &protocol.cautions {
        lines.push(format!("caution    {}", caution.text));
    }
    lines.push(
        "caution    The label is the law; local codes and licensed practice decide, not this figure."
            .to_owned(),
    );
    lines.join("\n")
}
