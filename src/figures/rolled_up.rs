//! A workspace rolled up: the private tables, the public rows, and what is needed to write figures of them.

use std::collections::BTreeSet;
use std::path::Path;

use arrow::array::AsArray;
use arrow::compute::cast;
use arrow::datatypes::DataType;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde::Deserialize;

use super::setting::roll_up_setting;
use crate::figures::arrivals::Arrivals;
use crate::figures::map::geo::county_week_geojson;
use crate::figures::map::maplibre_style::maplibre_style;
use crate::figures::map::qgis_style::qgis_style;
use crate::figures::map::rows::{Coverage, MapRows};
use crate::figures::map::rules::Named;
use crate::figures::map::viewer_style::legend_json;
use crate::figures::office::Office;
use crate::figures::week_heat::WeekHeat;
use crate::shared::count_words::CountWords;
use crate::shared::files::OutputFile;
use crate::shared::report;
use crate::shared::report::counted;
use crate::shared::shown_numbers::Units;
use crate::shared::tables::{ColumnDoc, write_csv, write_parquet};
use crate::workspace::Workspace;
use crate::workspace::open::{open_catalogue, open_region, open_snapshot_of, open_store};
use disclosure::editions::{Entry, Published};
use disclosure::public_row::PublicRow;
use scouting::failure::Failure;
use scouting::protocol::catalogue::{Catalogue, Protocol};
use scouting::region::Region;
use scouting::visit::week::IsoWeek;
use store::alerts::table::{Until, published_until};
use store::delta::snapshot::Snapshot;
use store::public::public_rows::{CountyOutcome, Publishing, Status, public_rows};
use store::public::public_tables::PublicTables;
use store::stages::engine::Elsewhere;
use store::stages::files::StageColumn;
use store::stages::inputs::Setting;
use store::stages::rollup::{Period, Rollup, StageTable};
use store::stages::run::roll_up_keeping;
use store::stages::stage_rows::rows_of;

/// A workspace rolled up, with what is needed to write its figures.
pub(crate) struct Figures {
    pub(crate) region: Region,
    pub(crate) catalogue: Catalogue,
    /// The private tables.
    pub(crate) rollup: Rollup,
    /// The public rows and the tables of them: of what is public, and of what is published now.
    pub(crate) public: PublicTables,
    /// Rows that become public with what is published now.
    pub(crate) entering: Vec<Entry>,
    /// What becomes of each county of the weeks that are published now: private.
    pub(crate) outcomes: Vec<CountyOutcome>,
    /// When the newest submission came in.
    pub(crate) received_until: Option<jiff::Timestamp>,
    /// Who publishes, and how to reach them; empty if the settings do not say.
    pub(crate) contact: String,
    /// Units in which pages and texts show amounts.
    pub(crate) units: Units,
    /// Address of the public folder, with a slash at its end; empty if the settings do not say.
    pub(crate) base_url: String,
    /// The office that publishes; with its logo for an alert, without it for other commands, which need not read it.
    pub(crate) office: Office,
    /// The heat that had come by each week; nothing where the workspace has no temperatures.
    pub(crate) heat: WeekHeat,
    /// When the visits of public rows came in, for an alert; empty for other commands, which need not look.
    pub(crate) arrivals: Arrivals,
    pub(crate) setting: Setting,
}

/// What figures are made of in addition to a version of the store.
pub(crate) struct Sources<'a> {
    pub(crate) region: Region,
    pub(crate) catalogue: Catalogue,
    pub(crate) weather: Option<&'a Path>,
    /// The rows that are public.
    pub(crate) published: &'a [Published],
    /// What is published now.
    pub(crate) publishing: &'a Publishing,
    /// Private tables to keep that are dropped otherwise.
    pub(crate) also: &'a [&'a str],
}

impl Figures {
    /// Counties of the weeks that are published now whose fields are in no row.
    pub(crate) fn counties_withheld(&self) -> usize {
        let outcomes = self.outcomes.iter();
        outcomes
            .filter(|outcome| outcome.status() == Status::Withheld)
            .count()
    }

    /// Rolls the newest version of the store up, with what the workspace holds today.
    pub(crate) async fn of(
        workspace: &Workspace,
        publishing: &Publishing,
    ) -> Result<Figures, Failure> {
        Figures::of_version(workspace, None, publishing).await
    }

    /// The same of a version of the store, with the rows that were public of it or of an earlier one; of the newest if
    /// none is named.
    pub(crate) async fn of_version(
        workspace: &Workspace,
        version: Option<i64>,
        publishing: &Publishing,
    ) -> Result<Figures, Failure> {
        let snapshot = open_snapshot_of(workspace, version).await?;
        let until = Until::version(version);
        Figures::rolled_up(workspace, &snapshot, None, publishing, until).await
    }

    /// The same of the newest version, which is open, perhaps elsewhere.
    pub(crate) async fn newest(
        workspace: &Workspace,
        snapshot: &Snapshot,
        elsewhere: Option<&dyn Elsewhere>,
        publishing: &Publishing,
    ) -> Result<Figures, Failure> {
        Figures::rolled_up(workspace, snapshot, elsewhere, publishing, Until::Now).await
    }

    /// The same of a version that is open, with some of the public rows.
    pub(crate) async fn rolled_up(
        workspace: &Workspace,
        snapshot: &Snapshot,
        elsewhere: Option<&dyn Elsewhere>,
        publishing: &Publishing,
        until: Until,
    ) -> Result<Figures, Failure> {
        let published = published_until(&open_store(workspace).await?, until).await?;
        let weather = workspace.weather();
        let sources = Sources {
            region: open_region(workspace)?,
            catalogue: open_catalogue(workspace)?,
            weather: weather.as_deref(),
            published: &published,
            publishing,
            also: &[],
        };
        Figures::at(workspace, snapshot, elsewhere, sources).await
    }

    /// Rolls a version of the store up.
    pub(crate) async fn at(
        workspace: &Workspace,
        snapshot: &Snapshot,
        elsewhere: Option<&dyn Elsewhere>,
        sources: Sources<'_>,
    ) -> Result<Figures, Failure> {
        let Sources {
            region, catalogue, ..
        } = sources;
        let received_until = snapshot.received_until().await?;
        let setting = roll_up_setting(workspace, &region, sources.weather, sources.published)?;
        let also = sources.also;
        let rollup = roll_up_keeping(snapshot, elsewhere, &catalogue, &setting, also).await?;
        note_without_threshold(rollup.visits_without_threshold);
        let rows = public_rows(
            &rollup.field_week().batch,
            &catalogue,
            &setting,
            sources.published,
            sources.publishing,
            day_of(received_until),
        )?;
        let public = PublicTables::of(rows.shown, &setting).await?;
        let office = Office::of(workspace, None)?;
        Ok(Figures {
            heat: heat_of(&setting, &catalogue, &public),
            region,
            catalogue,
            rollup,
            public,
            entering: rows.entering,
            outcomes: rows.outcomes,
            received_until,
            units: workspace.settings().units.system,
            base_url: workspace.settings().publish.base_url.clone(),
            contact: office.in_words(),
            office,
            arrivals: Arrivals::default(),
            setting,
        })
    }

    /// The same roll-up with other public rows: what is published now may hang on what it holds.
    pub(crate) async fn publishing(
        mut self,
        published: &[Published],
        publishing: &Publishing,
    ) -> Result<Figures, Failure> {
        let rows = public_rows(
            &self.rollup.field_week().batch,
            &self.catalogue,
            &self.setting,
            published,
            publishing,
            day_of(self.received_until),
        )?;
        self.public = PublicTables::of(rows.shown, &self.setting).await?;
        self.entering = rows.entering;
        self.outcomes = rows.outcomes;
        self.heat = heat_of(&self.setting, &self.catalogue, &self.public);
        Ok(self)
    }

    /// The weeks and protocols that the store has visits of, small groups included.
    pub(crate) fn visited(&self) -> BTreeSet<(String, String)> {
        let batch = &self.rollup.county_week_full().batch;
        let text = |name: &str| {
            let column = batch.column_by_name(name);
            let cast = column.and_then(|column| cast(column, &DataType::Utf8).ok());
            cast.map(|column| column.as_string::<i32>().clone())
        };
        let (weeks, protocols) = (text("iso_week"), text("protocol"));
        let pairs = weeks.iter().flatten().zip(protocols.iter().flatten());
        pairs
            .filter_map(|(week, protocol)| Some((week?.to_owned(), protocol?.to_owned())))
            .collect()
    }

    /// Fields of a week that were treated, so that no figure counts them: private.
    pub(crate) fn fields_treated(&self, week: IsoWeek, protocol: &str) -> Result<u64, Failure> {
        #[derive(Deserialize)]
        struct Treated<'a> {
            iso_week: &'a str,
            protocol: &'a str,
            fields_treated: i64,
        }
        let batch = &self.rollup.county_week_full().batch;
        let week = week.to_string();
        let rows = rows_of::<Treated<'_>>(batch, "county_week_full")?.into_iter();
        let rows = rows.filter(|row| row.iso_week == week && row.protocol == protocol);
        Ok(rows.map(|row| row.fields_treated.unsigned_abs()).sum())
    }

    /// Looks up when the visits of the public rows came in.
    pub(crate) async fn with_arrivals(mut self, snapshot: &Snapshot) -> Result<Figures, Failure> {
        self.arrivals = Arrivals::of(snapshot, self.public.rows(), &self.setting).await?;
        Ok(self)
    }

    /// The same with the office's logo.
    pub(crate) fn with_logo(
        mut self,
        workspace: &Workspace,
        logo: Option<&[u8]>,
    ) -> Result<Figures, Failure> {
        self.office = Office::of(workspace, logo)?;
        Ok(self)
    }

    /// The public rows of a week under a protocol, those of counties first.
    pub(crate) fn rows_under(&self, week: IsoWeek, protocol: &str) -> Vec<PublicRow> {
        let week = week.to_string();
        let rows = self.public.rows().iter();
        rows.filter(|row| row.iso_week == week && row.protocol == protocol)
            .cloned()
            .collect()
    }

    /// The protocols of the same ids, as far as the catalog has them.
    pub(crate) fn known_protocols(&self) -> Vec<&Protocol> {
        let ids = self.protocols().into_iter();
        ids.filter_map(|id| self.catalogue.protocol(id)).collect()
    }

    /// Ids of the protocols that the public rows are of; of all where there are none.
    pub(crate) fn protocols(&self) -> Vec<&str> {
        let rows = self.public.rows().iter();
        let mut ids: Vec<&str> = rows.map(|row| row.protocol.as_str()).collect();
        ids.sort_unstable();
        ids.dedup();
        if ids.is_empty() {
            let protocols = self.catalogue.protocols();
            ids.extend(protocols.map(|protocol| protocol.id.as_str()));
        }
        ids
    }

    /// The public rows of a period as a map has them; of one protocol if it is named. With a week, every county.
    pub(crate) fn map_rows(
        &self,
        period: Period,
        protocol: Option<&str>,
    ) -> Result<MapRows<'_>, Failure> {
        let protocols = protocol.map_or_else(|| self.protocols(), |id| vec![id]);
        let weeks = &self.setting.weeks;
        let week = match period {
            Period::Week(week) => Some((
                week.to_string(),
                (weeks.first_day(week), weeks.last_day(week)),
            )),
            Period::Season(_) | Period::All => None,
        };
        let coverage = week
            .as_ref()
            .map_or(Coverage::VisitedCounties, |(iso_week, days)| {
                Coverage::WholeWeek {
                    iso_week,
                    days: *days,
                    protocols: &protocols,
                }
            });
        let table = self.public.county_week().rows_under(period, protocol)?;
        MapRows::gather(&self.region, &table, self.public.rows(), coverage)
    }

    /// The map of a period with its styles: names and bytes, of one protocol if it is named. The MapLibre style draws
    /// the newest week and the protocol that is named, or else the first.
    pub(crate) fn map_files(
        &self,
        period: Period,
        protocol: Option<&str>,
    ) -> Result<Vec<OutputFile>, Failure> {
        let rows = self.public.rows().iter();
        let weeks = rows.filter(|row| period.holds(&row.iso_week, row.season));
        let newest = match period {
            Period::Week(week) => Some(week.to_string()),
            _ => weeks.map(|row| row.iso_week.clone()).max(),
        };
        let first = self.protocols().first().copied();
        let name_of = |id: &str| match self.catalogue.protocol(id) {
            Some(protocol) => Named {
                title: format!("{} ({id})", protocol.title),
                words: CountWords::of(protocol),
            },
            None => Named {
                title: id.to_owned(),
                words: CountWords::Either,
            },
        };
        let drawn = self.map_rows(period, protocol)?;
        let style = maplibre_style(
            &drawn,
            "county_week.geojson",
            newest.as_deref(),
            protocol.or(first),
            &name_of,
        )?;
        Ok(vec![
            (
                "county_week.geojson",
                county_week_geojson(&drawn, &name_of)?,
            ),
            (
                "county_week.legend.json",
                legend_json(&drawn.classes, self.words_of(protocol))?,
            ),
            ("county_week.qml", qgis_style(&drawn, &name_of).into_bytes()),
            ("county_week.style.json", style),
        ])
    }

    /// The words of a protocol, or those of all that the public rows are of.
    fn words_of(&self, protocol: Option<&str>) -> CountWords {
        match protocol {
            Some(id) => self
                .catalogue
                .protocol(id)
                .map_or(CountWords::Either, CountWords::of),
            None => CountWords::of_all(self.known_protocols()),
        }
    }

    /// A table's rows of a period as CSV, of one protocol if it is named.
    pub(crate) fn csv(
        &self,
        table: &StageTable,
        period: Period,
        protocol: Option<&str>,
    ) -> Result<Vec<u8>, Failure> {
        let rows = table.rows_under(period, protocol)?;
        write_csv(&rows, &docs(&table.stage.columns))
    }

    /// A table's rows of a period as Parquet.
    pub(crate) fn parquet(&self, table: &StageTable, period: Period) -> Result<Vec<u8>, Failure> {
        let notice = self.region.invented();
        write_parquet(&table.rows_of(period)?, &docs(&table.stage.columns), notice)
    }
}

/// The heat that had come by the weeks of the public rows.
fn heat_of(setting: &Setting, catalogue: &Catalogue, public: &PublicTables) -> WeekHeat {
    let weeks = public.rows().iter();
    let weeks = weeks.map(|row| (&*row.protocol, &*row.iso_week));
    WeekHeat::of(setting, catalogue, weeks)
}

/// The day of a moment, UTC; long ago if nothing came in.
pub(crate) fn day_of(received_until: Option<jiff::Timestamp>) -> Date {
    received_until.map_or(Date::constant(1970, 1, 1), |moment| {
        TimeZone::UTC.to_datetime(moment).date()
    })
}

/// Nothing is left out in silence.
pub(crate) fn note_without_threshold(visits: u64) {
    if visits > 0 {
        report::note(&format!(
            "note: {} left out: the protocol gives no threshold without economics, which the record lacks",
            counted(visits, "visit is", "visits are")
        ));
    }
}

/// What the columns of a table mean.
pub(crate) fn docs(columns: &[StageColumn]) -> Vec<ColumnDoc<'_>> {
    columns
        .iter()
        .map(|column| ColumnDoc {
            name: &column.name,
            description: &column.description,
            unit: column.unit.as_deref(),
        })
        .collect()
}
