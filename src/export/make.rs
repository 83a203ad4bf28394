//! A package of one version of the store: its rows chosen, published where that is asked for, judged and written.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use jiff::Timestamp;

use super::package::contents::{ExportTable, VisitRows, tables_of, tables_of_weather};
use super::package::credits::Credits;
use super::package::facts::{Facts, HeldBack, Level, License};
use super::package::package;
use super::package::package_file::PackageFile;
use super::rows::{unless_too_small, without_withdrawn_rows};
use super::weather_tables::WeatherTables;
use super::written::Written;
use crate::alert::confidences::{confidences, gate};
use crate::alert::inputs::{Inputs, sha256_of};
use crate::alert::issue::as_issued::{find, made_by_an_older_program};
use crate::alert::issue::settle::settle;
use crate::export::gate::ExportGate;
use crate::export::grid_rows::grid_rows;
use crate::export::take_home::{KEPT_FOR_IT, take_home};
use crate::figures::grid_setting::check_grid_not_lowered;
use crate::figures::rolled_up::Figures;
use crate::shared::files::{write_folder, write_private_folder};
use crate::shared::unseen::plain_text;
use crate::workspace::Workspace;
use crate::workspace::open::open_store;
use disclosure::editions::Published;
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::Protocol;
use store::alerts::issued_alert::IssuedAlert;
use store::alerts::table::{AlertBook, Until, issued_alerts, published_until};
use store::delta::append::Sealed;
use store::delta::snapshot::Snapshot;
use store::delta::tables::Store;
use store::public::public_rows::Publishing;
use store::stages::rollup::Period;

/// An export that is overtaken more often than this gives up.
const ATTEMPTS_MAX: usize = 50;

/// Which package is to be made.
pub(crate) struct WantedPackage {
    /// Folder to create.
    pub(crate) out: PathBuf,
    /// How much of a field it shows.
    pub(crate) level: Level,
    /// Whether it was said that the package is private.
    pub(crate) private: bool,
    /// The alert from whose inputs it is made.
    pub(crate) as_issued: Option<i64>,
    /// The version of the store that it is made from.
    pub(crate) store_version: Option<i64>,
    /// Its one season.
    pub(crate) season: Option<i32>,
}

/// A package that is ready to be judged, entered and written.
struct Made {
    files: Vec<PackageFile>,
    written: Written,
}

impl WantedPackage {
    /// Makes the package and writes it.
    ///
    /// # Errors
    /// A [`Failure`] if the gate stops one of its files, or it cannot be written.
    pub(crate) async fn make(
        &self,
        workspace: &Workspace,
        now: Timestamp,
    ) -> Result<Written, Failure> {
        self.check_private()?;
        check_folder(&self.out)?;
        let store = open_store(workspace).await?;
        let issued = issued_alerts(&store).await?;
        check_grid_not_lowered(workspace, &issued)?;
        let Made { files, written } = match self.publishes() {
            true => self.published(workspace, &store, now).await?,
            false => self.of_public_rows(workspace, &store, &issued).await?,
        };
        let borrowed: Vec<(&str, &[u8])> = files
            .iter()
            .map(|file| (file.name.as_str(), &*file.bytes))
            .collect();
        let wrote = match self.level.is_private() {
            true => write_private_folder(&self.out, &borrowed),
            false => write_folder(&self.out, &borrowed),
        };
        wrote.map_err(|failure| match written.rows_made_public {
            0 => failure,
            _ => failure.mend(
                "export again: the rows are public already, and the package comes out the same",
            ),
        })?;
        Ok(written)
    }

    fn check_private(&self) -> Result<(), Failure> {
        match (self.level, self.private) {
            (Level::Public, true) => Err(Failure::new(
                Kind::Settings,
                "--private applies only to --level grid and --level full",
            )
            .mend("leave --private out, or ask for --level grid or --level full")),
            (Level::Grid, false) => Err(Failure::new(
                Kind::Settings,
                "level grid is private: its rows are single fields, and who knows a field well may recognize it",
            )
            .mend(
                "say --private, and agree on the terms in TERMS.md with the recipient; --level public may be handed to anybody",
            )),
            (Level::Full, false) => Err(Failure::new(
                Kind::Settings,
                "level full is private: its rows are single fields, with farms, scouts, points, costs and prices",
            )
            .mend(
                "say --private, and agree on the terms in TERMS.md with the recipient; --level public may be handed to anybody",
            )),
            (Level::Public, false) | (_, true) => Ok(()),
        }
    }

    fn period(&self) -> Period {
        self.season.map_or(Period::All, Period::Season)
    }

    /// Whether rows become public with the package.
    fn publishes(&self) -> bool {
        self.level == Level::Public && self.as_issued.is_none() && self.store_version.is_none()
    }

    /// A package of the newest version, whose rows are public when this returns.
    async fn published(
        &self,
        workspace: &Workspace,
        store: &Store,
        now: Timestamp,
    ) -> Result<Made, Failure> {
        let inputs = Inputs::of_now(workspace)?;
        let nothing = Publishing::Nothing;
        let published = published_until(store, Until::Now).await?;
        let (snapshot, mut figures) = inputs
            .figures(workspace, None, &published, &nothing, &[])
            .await?;
        let publishing = Publishing::All(self.period());
        for _ in 0..ATTEMPTS_MAX {
            let book = AlertBook::open(store).await?;
            check_grid_not_lowered(workspace, book.issued())?;
            let published = book.published();
            figures = figures.publishing(&published, &publishing).await?;
            figures = without_withdrawn_rows(figures, &published).await?;
            let made = self.made(workspace, &inputs, &snapshot, &figures).await?;
            self.judge(workspace, &inputs, &figures, &published, &made.files)
                .await?;
            if figures.entering.is_empty() {
                return Ok(made);
            }
            let rows = figures.entering.clone();
            match book.export(store, rows, snapshot.version(), now).await? {
                Sealed::Done => return Ok(made),
                // Somebody else published meanwhile: which rows there may be hangs on theirs.
                Sealed::Overtaken => {}
            }
        }
        Err(
            Failure::new(Kind::Busy, "cannot export: the table of alerts stayed busy")
                .mend("export again when the other commands have finished; nothing became public"),
        )
    }

    /// A package of rows that are public already, and at the levels grid and full of rows of single fields.
    async fn of_public_rows(
        &self,
        workspace: &Workspace,
        store: &Store,
        issued: &[IssuedAlert],
    ) -> Result<Made, Failure> {
        let (inputs, version, until) = match self.as_issued {
            Some(number) => {
                settle(workspace, issued)?;
                let alert = find(issued, number)?;
                if alert.public_rows.is_none() {
                    return Err(made_by_an_older_program(alert));
                }
                let version = Some(alert.store_version);
                (
                    Inputs::of_alert(workspace, alert)?,
                    version,
                    Until::With(number),
                )
            }
            None => {
                let until = self.store_version.map_or(Until::Now, Until::Version);
                (Inputs::of_now(workspace)?, self.store_version, until)
            }
        };
        let now = workspace.settings().disclosure.rule();
        let published = published_until(store, until).await?;
        let published: Vec<Published> = published
            .into_iter()
            .map(|one| unless_too_small(one, &now))
            .collect();
        let nothing = Publishing::Nothing;
        let (snapshot, figures) = inputs
            .figures(workspace, version, &published, &nothing, &KEPT_FOR_IT)
            .await?;
        let made = self.made(workspace, &inputs, &snapshot, &figures).await?;
        if self.level != Level::Full {
            self.judge(workspace, &inputs, &figures, &published, &made.files)
                .await?;
        }
        Ok(made)
    }

    async fn made(
        &self,
        workspace: &Workspace,
        inputs: &Inputs,
        snapshot: &Snapshot,
        figures: &Figures,
    ) -> Result<Made, Failure> {
        let as_it_was = workspace.as_it_was(&inputs.settings)?;
        let disclosure = &as_it_was.settings().disclosure;
        // What is published of single fields is judged by the stricter of the settings then and now.
        let now = workspace.settings().disclosure.rule();
        let rule = disclosure.rule().stricter(now);
        let catalogue = &figures.catalogue;
        let visits = match self.level {
            Level::Public => VisitRows::None,
            Level::Full => {
                VisitRows::Full(take_home(snapshot, &figures.rollup, self.season).await?)
            }
            Level::Grid => {
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
                    &rule,
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
        let region = &figures.region;
        let mut tables = tables_of(
            &figures.rollup,
            &figures.public,
            visits,
            region,
            catalogue,
            self.period(),
        )?;
        tables.extend(weather_tables(
            inputs,
            figures,
            &used_protocols(&tables)?,
            self.season,
        )?);
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
            credits: Credits::of(&settings.data),
            license: license(workspace).filter(|_| !level.is_private()),
            command: self.command(snapshot.version()),
            program: concat!("bractline ", env!("CARGO_PKG_VERSION")),
            inputs: input_sums(inputs, &used),
            rule,
            grid_km: disclosure.point_grid_km,
            certainty: workspace.settings().calls.certainty,
            weeks: &figures.setting.weeks,
            held_back,
        };
        let files = package(&facts, &tables)?;
        let written = Written {
            store_version: snapshot.version(),
            level: level.word(),
            tables: tables
                .iter()
                .map(|table| (table.name(), table.rows()))
                .collect(),
            rows_made_public: figures.entering.len(),
            private: level.is_private(),
            files: files.iter().map(|file| self.out.join(&file.name)).collect(),
        };
        Ok(Made { files, written })
    }

    async fn judge(
        &self,
        workspace: &Workspace,
        inputs: &Inputs,
        figures: &Figures,
        published: &[Published],
        files: &[PackageFile],
    ) -> Result<(), Failure> {
        let confidences = confidences(&open_store(workspace).await?).await?;
        let mut gate = gate(workspace, inputs, &figures.region, &confidences)?;
        gate.allow_rows(published.iter().map(|one| &one.entry));
        gate.allow_rows(&figures.entering);
        let gate = ExportGate::new(
            &gate,
            self.level,
            figures.public.rows(),
            &figures.setting.districts,
        )?;
        files.iter().try_for_each(|file| gate.judge(file))
    }

    /// The command that makes the package again, whatever comes in later.
    fn command(&self, version: i64) -> String {
        let level = self.level.word();
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

/// Refuses a folder with files: they might be of another level, and would be handed on with the package.
fn check_folder(out: &Path) -> Result<(), Failure> {
    let unreadable = |error| Failure::file("read", out, error);
    if out.exists() && out.read_dir().map_err(unreadable)?.next().is_some() {
        return Err(Failure::new(
            Kind::Files,
            format!(
                "cannot make a package in {}: it is not empty",
                out.display()
            ),
        )
        .mend("name a new folder: what is there would be handed on with the package"));
    }
    Ok(())
}

fn used_protocols(tables: &[ExportTable]) -> Result<BTreeSet<String>, Failure> {
    let protocols = tables.iter().find(|table| table.name() == "protocol");
    protocols.map_or(Ok(BTreeSet::new()), ExportTable::ids)
}

/// The weather, for the protocols of a package.
fn weather_tables(
    inputs: &Inputs,
    figures: &Figures,
    used: &BTreeSet<String>,
    season: Option<i32>,
) -> Result<Vec<ExportTable>, Failure> {
    let used = used.iter().filter_map(|id| figures.catalogue.protocol(id));
    let protocols: Vec<&Protocol> = used.collect();
    let sha256 = inputs.weather_sha256();
    let weather = WeatherTables::of(&figures.setting, sha256.as_deref(), &protocols, season)?;
    Ok(tables_of_weather(weather))
}

fn license(workspace: &Workspace) -> Option<License> {
    let data = &workspace.settings().data;
    (!data.license.is_empty()).then(|| License {
        name: data.license.clone(),
        url: data.license_url.clone(),
    })
}

/// What was read in addition to the store, by its hash: enough to see whether it is still the same.
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
