//! `bractline alert`: the bulletin of a week.

use std::path::PathBuf;

use super::report;
use super::rollup::Figures;
use super::{Format, Outcome};
use crate::failure::{Failure, Kind};
use crate::protocol::catalogue::Protocol;
use crate::publish::alert_page::{Bulletin, ProtocolFacts, alert_html};
use crate::publish::files::write_folder;
use crate::rollup::county_week::CountyWeek;
use crate::rollup::run::Period;
use crate::visit::week::IsoWeek;
use crate::workspace::Workspace;

/// Make the bulletin of a week
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  bractline alert --week 2026-W30\n\nWrites alert.html, county_week.csv, county_week.geojson and its styles for QGIS and MapLibre to the workspace's folder alerts/WEEK."
)]
pub struct Alert {
    /// ISO 8601 week, as 2026-W30
    #[arg(long, value_name = "WEEK")]
    week: IsoWeek,

    /// Id of the protocol, where the week has visits under several
    #[arg(long, value_name = "ID")]
    protocol: Option<String>,

    /// How to report
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl Alert {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let figures = Figures::of(workspace).await?;
        let page = write_alert(workspace, &figures, self.week, self.protocol.as_deref())?;
        match self.format {
            Format::Text => report::say(&format!("alert of {}: {}", self.week, page.display()))?,
            Format::Json => report::say_json(&serde_json::json!({
                "iso_week": self.week.to_string(),
                "store_version": figures.rollup.store_version,
                "page": page,
            }))?,
        }
        Ok(Outcome::Done)
    }
}

/// Writes the bulletin of a week; the path of its page.
pub(super) fn write_alert(
    workspace: &Workspace,
    figures: &Figures,
    week: IsoWeek,
    protocol: Option<&str>,
) -> Result<PathBuf, Failure> {
    let protocol = chosen_protocol(figures, week, protocol)?;
    let under = |week: IsoWeek| -> Vec<CountyWeek> {
        let mut rows = figures.rows(Period::Week(week));
        rows.retain(|row| row.protocol == protocol.id);
        rows
    };
    let rows = under(week);
    let previous = week.previous().map(under).filter(|rows| !rows.is_empty());
    let iso_week = week.to_string();
    let page = alert_html(&Bulletin {
        iso_week: &iso_week,
        region: &figures.region,
        rows: &rows,
        previous: previous.as_deref(),
        protocol: &facts(protocol),
        generated_at: &as_of(figures),
        program_version: concat!("bractline ", env!("CARGO_PKG_VERSION")),
        store_version: figures.rollup.store_version,
    })?;
    let folder = workspace.alerts().join(&iso_week);
    let period = Period::Week(week);
    let mut files = vec![
        ("alert.html", page.into_bytes()),
        ("county_week.csv", figures.csv(period)?),
    ];
    files.extend(figures.map_files(period, Some(&protocol.id))?);
    let files: Vec<(&str, &[u8])> = files
        .iter()
        .map(|(name, bytes)| (*name, &**bytes))
        .collect();
    write_folder(&folder, &files)?;
    Ok(folder.join("alert.html"))
}

/// The protocol that was named, or the only one that the week has visits of.
fn chosen_protocol<'a>(
    figures: &'a Figures,
    week: IsoWeek,
    named: Option<&str>,
) -> Result<&'a Protocol, Failure> {
    let rows = figures.rows(Period::Week(week));
    let mut ids: Vec<&str> = rows.iter().map(|row| row.protocol.as_str()).collect();
    ids.sort_unstable();
    ids.dedup();
    let id = match (named, ids.as_slice()) {
        (Some(id), _) => id,
        (None, [id]) => id,
        (None, []) => {
            return Err(Failure::new(
                Kind::Publish,
                format!("no visit in {week}: there is nothing to say"),
            )
            .mend(weeks_with_visits(figures)));
        }
        (None, several) => {
            return Err(Failure::new(
                Kind::Publish,
                format!(
                    "{week} has visits under {} protocols: {}",
                    several.len(),
                    several.join(", ")
                ),
            )
            .mend("choose one with --protocol ID"));
        }
    };
    figures.catalogue.protocol(id).ok_or_else(|| {
        Failure::new(Kind::Protocol, format!("no protocol {id:?}"))
            .mend(format!("the catalogue has {}", figures.catalogue.ids()))
    })
}

fn weeks_with_visits(figures: &Figures) -> String {
    let mut weeks: Vec<&str> = figures
        .county_weeks
        .iter()
        .map(|row| row.iso_week.as_str())
        .collect();
    weeks.sort_unstable();
    weeks.dedup();
    if weeks.is_empty() {
        "no week has visits yet: load some with `bractline load FILE…`".to_owned()
    } else {
        format!("the weeks with visits are {}", weeks.join(", "))
    }
}

/// The moment that the figures speak of: the newest submission, so that the same store gives the same
/// page.
fn as_of(figures: &Figures) -> String {
    figures.received_until.map_or_else(
        || "no report yet".to_owned(),
        |moment| moment.strftime("%Y-%m-%d %H:%M UTC").to_string(),
    )
}

fn facts(protocol: &Protocol) -> ProtocolFacts {
    let hatch = protocol
        .timing
        .hatch_days
        .map(|[from, to]| format!("Eggs hatch {from} to {to} days after they are laid."));
    ProtocolFacts {
        id: protocol.id.clone(),
        title: protocol.title.clone(),
        crop: protocol.crop.clone(),
        counted: protocol.counted.clone(),
        threshold_name: protocol.threshold.kind.clone(),
        stage_window: format!("{}–{}", protocol.stages.first, protocol.stages.last),
        treatment_stage: protocol.timing.treat_at.clone(),
        treatment: Some(protocol.timing.treat.clone()),
        hatch,
        source: protocol.threshold.source.clone(),
        cautions: protocol
            .cautions
            .iter()
            .map(|caution| caution.text.clone())
            .collect(),
    }
}
