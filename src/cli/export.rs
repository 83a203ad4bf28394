//! `bractline export`: a package for researchers, from one store version.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use clap::ValueEnum;
use serde::Serialize;

use super::grid_setting::check_grid_not_lowered;
use super::inputs::{Inputs, sha256_of};
use super::issuing::{confidences, find, gate, settle};
use super::report::{self, counted};
use super::rollup::Figures;
use super::{Format, Outcome, open_store};
use crate::failure::{Failure, Kind};
use crate::publish::export::contents::{ExportTable, VisitRows, tables_of};
use crate::publish::export::{Facts, HeldBack, Level, Licence, PackageFile, package};
use crate::publish::files::{write_folder, write_private_folder};
use crate::publish::gate_export::ExportGate;
use crate::publish::unseen::plain_text;
use crate::rollup::dispersion::SmallestGroup;
use crate::rollup::grid_rows::grid_rows;
use crate::rollup::run::Period;
use crate::rollup::take_home::{KEPT_FOR_IT, take_home};
use crate::store::alerts::issued_alerts;
use crate::store::snapshot::Snapshot;
use crate::workspace::Workspace;

/// Make a package for researchers
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline export --out package\n  bractline export --level grid --season 2026 --out package\n  bractline export --level full --private --out package\n  bractline export --as-issued 3 --out package\n\nLevels: public has the tables of counties and of the region, and nothing of a field. grid adds visits and\nfield-weeks without what leads back to a field, each among enough others of its grid cell or county. full has\neverything, raw counts too; it is private and wants --private. Every table is there as CSV and Parquet (GeoParquet\n1.1), with datapackage.json, a Darwin Core archive, a data dictionary, CITATION.cff, README.md and SHA256SUMS.\nThe same store version and options give the same bytes. Public and grid are judged before the first file is written."
)]
pub struct Export {
    /// Folder to make; one that is there must be empty
    #[arg(long, value_name = "DIR")]
    out: PathBuf,

    /// How much of a field it tells
    #[arg(long, value_enum, default_value = "public")]
    level: LevelArgument,

    /// Say that the package is private: level full wants it
    #[arg(long)]
    private: bool,

    /// From what this alert was made from
    #[arg(long, value_name = "NUMBER", conflicts_with = "store_version")]
    as_issued: Option<i64>,

    /// From this version of the store, with the settings of today
    #[arg(long, value_name = "VERSION")]
    store_version: Option<i64>,

    /// One season: an ISO week-year, as 2026
    #[arg(long, value_name = "YEAR")]
    season: Option<i32>,

    /// How to report
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

/// How much of a field a package tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum LevelArgument {
    /// Nothing.
    Public,
    /// What was found, without what leads back to a field.
    Grid,
    /// Everything; private.
    Full,
}

/// What was written.
#[derive(Debug, Serialize)]
struct Written {
    store_version: i64,
    level: &'static str,
    /// Rows of each table.
    tables: Vec<(&'static str, usize)>,
    county_weeks: usize,
    suppressed: usize,
    /// Whether it must not be handed on.
    private: bool,
    files: Vec<PathBuf>,
}

impl Written {
    fn text(&self) -> String {
        let tables = self
            .tables
            .iter()
            .map(|(name, rows)| format!("\n  {name}: {}", counted(*rows as u64, "row", "rows")));
        let tables: String = tables.collect();
        let files = self
            .files
            .iter()
            .map(|file| format!("\n  {}", file.display()));
        let files: String = files.collect();
        let private = match self.private {
            true => "\nPRIVATE: it names fields, farms and scouts; do not hand it on",
            false => "",
        };
        format!(
            "exported level {} from store version {}{tables}{private}{files}",
            self.level, self.store_version
        )
    }
}

impl Export {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        self.check_private()?;
        check_folder(&self.out)?;
        let (inputs, version) = self.inputs(workspace).await?;
        let (snapshot, figures) = inputs.opened(workspace, version, &KEPT_FOR_IT).await?;
        let (files, written) = self.made(workspace, &inputs, &snapshot, &figures).await?;
        if self.level != LevelArgument::Full {
            self.judge(workspace, &inputs, &figures, &files).await?;
        }
        let borrowed: Vec<(&str, &[u8])> = files
            .iter()
            .map(|file| (file.name.as_str(), &*file.bytes))
            .collect();
        match self.level {
            LevelArgument::Public => write_folder(&self.out, &borrowed)?,
            LevelArgument::Grid | LevelArgument::Full => {
                write_private_folder(&self.out, &borrowed)?;
            }
        }
        match self.format {
            Format::Text => report::say(&written.text())?,
            Format::Json => report::say_json(&written)?,
        }
        Ok(Outcome::Done)
    }

    fn check_private(&self) -> Result<(), Failure> {
        match (self.level, self.private) {
            (LevelArgument::Full, false) => Err(Failure::new(
                Kind::Settings,
                "level full names fields, farms, scouts and points",
            )
            .mend(
                "say --private if the package stays in your hands; --level grid may be handed on",
            )),
            (LevelArgument::Full, true) | (_, false) => Ok(()),
            (_, true) => Err(Failure::new(
                Kind::Settings,
                "--private goes with --level full alone",
            )
            .mend("leave --private out, or ask for --level full")),
        }
    }

    /// What the package is made from beside the store, and which version of the store.
    async fn inputs(&self, workspace: &Workspace) -> Result<(Inputs, Option<i64>), Failure> {
        let issued = issued_alerts(&open_store(workspace).await?).await?;
        check_grid_not_lowered(workspace, &issued)?;
        let Some(number) = self.as_issued else {
            return Ok((Inputs::of_now(workspace)?, self.store_version));
        };
        settle(workspace, &issued)?;
        let alert = find(&issued, number)?;
        Ok((
            Inputs::of_alert(workspace, alert)?,
            Some(alert.store_version),
        ))
    }

    async fn made(
        &self,
        workspace: &Workspace,
        inputs: &Inputs,
        snapshot: &Snapshot,
        figures: &Figures,
    ) -> Result<(Vec<PackageFile>, Written), Failure> {
        let as_it_was = workspace.as_it_was(&inputs.settings)?;
        let disclosure = &as_it_was.settings().disclosure;
        let smallest = SmallestGroup {
            fields: disclosure.min_fields,
            farms: disclosure.min_farms,
        };
        let catalogue = &figures.catalogue;
        let visits = match self.level {
            LevelArgument::Public => VisitRows::None,
            LevelArgument::Full => {
                VisitRows::Full(take_home(snapshot, &figures.rollup, self.season).await?)
            }
            LevelArgument::Grid => {
                let rows = take_home(snapshot, &figures.rollup, self.season).await?;
                let sites_min = |id: &str| {
                    let least = catalogue
                        .protocol(id)
                        .map(|protocol| protocol.sample.sites_min);
                    least
                        .and_then(|least| i32::try_from(least).ok())
                        .unwrap_or(1)
                };
                let (visits, narrowest) = (&rows.visit.batch, as_it_was.grid_width()?);
                VisitRows::Grid(grid_rows(
                    visits,
                    &figures.rollup,
                    smallest,
                    narrowest,
                    sites_min,
                )?)
            }
        };
        let held_back = match &visits {
            VisitRows::Grid(rows) => Some(HeldBack {
                field_weeks: rows.field_week.batch.num_rows(),
                by_county_alone: rows.by_county_alone,
                outside_window: rows.held_back_outside,
            }),
            VisitRows::None | VisitRows::Full(_) => None,
        };
        let level = visits.level();
        let period = self.season.map_or(Period::All, Period::Season);
        let region = &figures.region;
        let tables = tables_of(&figures.rollup, visits, region, catalogue, period)?;
        let county_weeks = figures.rows(period);
        let suppressed = county_weeks.iter().filter(|row| row.suppressed).count();
        let used = used_protocols(&tables)?;
        let settings = workspace.settings();
        let facts = Facts {
            level,
            region,
            protocols: used
                .iter()
                .filter_map(|id| catalogue.protocol(id))
                .collect(),
            store_version: snapshot.version(),
            season: self.season,
            received_until: figures.received_until,
            office: plain_text(&settings.office.name),
            contact: plain_text(&settings.office.contact),
            licence: licence(workspace),
            command: self.command(snapshot.version()),
            program: concat!("bractline ", env!("CARGO_PKG_VERSION")),
            inputs: input_sums(inputs, &used),
            min_fields: disclosure.min_fields,
            min_farms: disclosure.min_farms,
            grid_km: disclosure.point_grid_km,
            held_back,
            county_weeks: (county_weeks.len(), suppressed),
        };
        let files = package(&facts, &tables)?;
        let written = Written {
            store_version: snapshot.version(),
            level: level.word(),
            tables: tables
                .iter()
                .map(|table| (table.name(), table.rows()))
                .collect(),
            county_weeks: county_weeks.len(),
            suppressed,
            private: level == Level::Full,
            files: files.iter().map(|file| self.out.join(&file.name)).collect(),
        };
        Ok((files, written))
    }

    async fn judge(
        &self,
        workspace: &Workspace,
        inputs: &Inputs,
        figures: &Figures,
        files: &[PackageFile],
    ) -> Result<(), Failure> {
        let level = match self.level {
            LevelArgument::Public => Level::Public,
            LevelArgument::Grid => Level::Grid,
            LevelArgument::Full => Level::Full,
        };
        let confidences = confidences(&open_store(workspace).await?).await?;
        let gate = gate(workspace, inputs, &figures.region, &confidences)?;
        let gate = ExportGate::new(&gate, level)?;
        files.iter().try_for_each(|file| gate.judge(file))
    }

    /// The command that makes the package again, whatever comes in later.
    fn command(&self, version: i64) -> String {
        let level = self.level.to_possible_value();
        let level = level.as_ref().map_or("public", |level| level.get_name());
        let private = if self.private { " --private" } else { "" };
        let season = self
            .season
            .map_or(String::new(), |season| format!(" --season {season}"));
        let from = match self.as_issued {
            Some(number) => format!("--as-issued {number}"),
            None => format!("--store-version {version}"),
        };
        format!("bractline export --level {level}{private} {from}{season} --out DIR")
    }
}

/// What lies in a folder already might be of another level: it would be handed on with the package.
fn check_folder(out: &Path) -> Result<(), Failure> {
    let unreadable = |error| Failure::file("read", out, &error);
    if out.exists() && out.read_dir().map_err(unreadable)?.next().is_some() {
        return Err(Failure::new(
            Kind::Files,
            format!(
                "cannot make a package in {}: it is not empty",
                out.display()
            ),
        )
        .mend("name a new folder: what lies there would be handed on with the package"));
    }
    Ok(())
}

fn used_protocols(tables: &[ExportTable]) -> Result<BTreeSet<String>, Failure> {
    let protocols = tables.iter().find(|table| table.name() == "protocol");
    protocols.map_or(Ok(BTreeSet::new()), ExportTable::ids)
}

fn licence(workspace: &Workspace) -> Option<Licence> {
    let data = &workspace.settings().data;
    (!data.license.is_empty()).then(|| Licence {
        name: data.license.clone(),
        url: data.license_url.clone(),
    })
}

/// What was read beside the store, by its hash: enough to tell whether it is still the same.
fn input_sums(inputs: &Inputs, used: &BTreeSet<String>) -> Vec<(String, String)> {
    let mut sums = vec![(
        "the settings".to_owned(),
        sha256_of(inputs.settings.as_bytes()),
    )];
    for id in used {
        let text = inputs.protocols.get(id);
        sums.extend(text.map(|text| (format!("the protocol {id}"), sha256_of(text.as_bytes()))));
    }
    let boundaries = inputs.boundaries_sha256();
    sums.extend(boundaries.map(|sum| ("the boundary file".to_owned(), sum)));
    let weather = inputs.weather_sha256();
    sums.extend(weather.map(|sum| ("the weather file".to_owned(), sum)));
    sums
}
