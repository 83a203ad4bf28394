//! `bractline rollup`: what is public, and the office's figures in full, as files.

use std::path::PathBuf;

use super::cluster::ClusterOptions;
use crate::cli::terminal::format::{Format, Outcome};
use crate::figures::files::{WantedFigures, roll_up_and_write};
use crate::scenario::run::roll_up_under;
use crate::workspace::Workspace;
use crate::workspace::open::open_weeks;
use scouting::failure::Failure;
use scouting::visit::week::NamedWeek;
use store::stages::rollup::Period;
use store::stages::scenario::Scenario;

/// Aggregate visits by county and week
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline rollup --out figures\n  bractline rollup --week 2026-W30 --out figures-w30\n  bractline rollup --dispersion --out figures\n  bractline rollup --with 'price=*0.8,cost=9.50USD/acre' --out what-if\n\nWrites two folders. DIR/private is for the office: county_week_full (.csv and .parquet), every figure of every county in full precision; county_week_effort (.csv and .parquet), its visits, fields, sites and units and the standard error of its mean pressure; field_week.parquet; and disclosure.csv, which gives for each county and week whether it is public, would be if it were issued now, or is withheld and why. Only their owner can read these files. DIR/public holds what is public already, since it was issued with an alert or exported: county_week and elsewhere_week (.csv and .parquet), county_week.geojson and .geo.parquet, styles of the map for QGIS (.qml) and MapLibre (.style.json), sample_points.geojson, district_week, region_week, region_median and region_stage (.csv and .parquet), and COLUMNS.md. With --week the map holds every county of the region. With --dispersion DIR/private also has the dispersion of counts: county_season_dispersion, season_power_law and visit_dispersion. It reads every unit of the store, so it takes longer. With --with it writes a scenario in place of all this: the same visits under other prices, costs or plant populations, by factor (*0.8) or amount with unit and currency, with the loss avoided and net benefit per hectare. It is not an observed result: SCENARIO.md says so, `alert` takes no `--with`, and `publish` refuses its files."
)]
pub(crate) struct RollupCommand {
    /// One week, as 2026-W30 or a day of it
    #[arg(long, value_name = "WEEK", conflicts_with = "season")]
    week: Option<NamedWeek>,

    /// One season: an ISO week-year, as 2026
    #[arg(long, value_name = "YEAR")]
    season: Option<i32>,

    /// From this version of the store, with the settings of today
    #[arg(long, value_name = "VERSION", conflicts_with_all = ["scenario", "cluster"])]
    store_version: Option<i64>,

    /// Also write the dispersion of counts: negative binomial k, and Taylor's power law
    #[arg(long, conflicts_with = "week")]
    dispersion: bool,

    /// Scenario: other economics, as price=*0.8,cost=9.50USD/acre,population=22000/acre; writes only the scenario
    #[arg(long = "with", value_name = "CHANGES", conflicts_with_all = ["dispersion", "cluster"])]
    scenario: Option<Scenario>,

    #[command(flatten)]
    cluster: ClusterOptions,

    /// Output folder
    #[arg(long, value_name = "DIR")]
    out: PathBuf,

    /// Output format
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl RollupCommand {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let period = match (self.week, self.season) {
            (Some(week), _) => Period::Week(week.among(&open_weeks(workspace).await?)),
            (None, Some(season)) => Period::Season(season),
            (None, None) => Period::All,
        };
        if let Some(scenario) = &self.scenario {
            let written = roll_up_under(workspace, scenario, period, &self.out).await?;
            return self.format.say(&written.json(), || written.text());
        }
        let wanted = WantedFigures {
            period,
            // With --dispersion a season is all that it takes.
            dispersion: self.dispersion.then_some(self.season),
            store_version: self.store_version,
            cluster: self.cluster.asked(),
        };
        let written = roll_up_and_write(workspace, &wanted, &self.out).await?;
        self.format.say(&written, || written.text())
    }
}
