//! A roll-up under other economics. It writes private files with names and forms of their own, which no alert takes up
//! and publishing refuses.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use crate::figures::rolled_up::{docs, note_without_threshold};
use crate::figures::setting::roll_up_setting;
use crate::scenario::page::{ScenarioFacts, scenario_page};
use crate::shared::cautions::NOTICE;
use crate::shared::files::{OutputFile, borrowed, write_private_folder};
use crate::shared::report::counted;
use crate::shared::tables::{write_csv, write_scenario_parquet};
use crate::workspace::Workspace;
use crate::workspace::open::{open_catalogue, open_region, open_store, workers};
use scouting::failure::{Failure, Kind};
use store::alerts::table::published_rows;
use store::delta::snapshot::{Snapshot, parts_that_pay};
use store::stages::rollup::Period;
use store::stages::scenario::Scenario;
use store::stages::scenario_run::{ScenarioRollup, roll_up_scenario};

/// A scenario that was written just now.
pub(crate) struct WrittenScenario {
    scenario: String,
    changes: Value,
    store_version: i64,
    county_weeks: usize,
    thresholds_unmoved: Value,
    without_damage_relation: Value,
    private: Vec<PathBuf>,
}

impl WrittenScenario {
    /// For programs.
    pub(crate) fn json(&self) -> Value {
        json!({
            "notice": NOTICE,
            "scenario": self.scenario,
            "changes": self.changes,
            "store_version": self.store_version,
            "county_weeks": self.county_weeks,
            "thresholds_unmoved": self.thresholds_unmoved,
            "without_damage_relation": self.without_damage_relation,
            "public": [],
            "private": self.private,
        })
    }

    /// For people.
    pub(crate) fn text(&self) -> String {
        let county_weeks = counted(self.county_weeks as u64, "county-week", "county-weeks");
        let listed: String = self
            .private
            .iter()
            .map(|path| format!("\n  private, not to be published: {}", path.display()))
            .collect();
        format!(
            "scenario {}: {county_weeks} from store version {}{listed}",
            self.scenario, self.store_version
        )
    }
}

/// Rolls up under a scenario and writes its folder.
pub(crate) async fn roll_up_under(
    workspace: &Workspace,
    scenario: &Scenario,
    period: Period,
    out: &Path,
) -> Result<WrittenScenario, Failure> {
    keep_out_of_alerts(workspace, out)?;
    let store = open_store(workspace).await?;
    let parts = parts_that_pay(&store, workers()).await?;
    let recorded = Snapshot::open(&store, parts).await?;
    let changed = Snapshot::at(&store, recorded.version(), parts).await?;
    let region = open_region(workspace)?;
    let catalogue = open_catalogue(workspace)?;
    let published = published_rows(&store).await?;
    let weather = workspace.weather();
    let setting = roll_up_setting(workspace, &region, weather.as_deref(), &published)?;
    let rollup = roll_up_scenario(&recorded, &changed, &catalogue, &setting, scenario).await?;
    note_without_threshold(rollup.visits_without_threshold);
    let facts = ScenarioFacts {
        region: &region,
        scenario,
        catalogue: &catalogue,
        protocols: &rollup.protocols,
        store_version: rollup.store_version,
        county_docs: &docs(&rollup.county_week.stage.columns),
        field_docs: &docs(&rollup.field_week.stage.columns),
    };
    let files = files(&rollup, &facts, period)?;
    write_private_folder(out, &borrowed(&files))?;
    let rows = rollup.county_week.rows_of(period)?;
    let paths: Vec<PathBuf> = files.iter().map(|(name, _)| out.join(name)).collect();
    Ok(WrittenScenario {
        scenario: scenario.to_string(),
        changes: json!(scenario.in_words()),
        store_version: rollup.store_version,
        county_weeks: rows.num_rows(),
        thresholds_unmoved: json!(facts.unmoved()),
        without_damage_relation: json!(facts.without_damage()),
        private: paths,
    })
}

/// Refuses the folder of alerts: what is in it may be issued and published.
fn keep_out_of_alerts(workspace: &Workspace, out: &Path) -> Result<(), Failure> {
    let unreadable = |error| Failure::file("find", out, error);
    let alerts = std::path::absolute(workspace.alerts()).map_err(unreadable)?;
    let out = std::path::absolute(out).map_err(unreadable)?;
    match out.starts_with(&alerts) {
        true => Err(Failure::new(
            Kind::Publish,
            "a scenario cannot be written among the alerts: it is never issued or published",
        )
        .at(out.display().to_string())
        .mend("name another folder with --out")),
        false => Ok(()),
    }
}

fn files(
    rollup: &ScenarioRollup,
    facts: &ScenarioFacts,
    period: Period,
) -> Result<Vec<OutputFile>, Failure> {
    let invented = facts.region.invented();
    let said = format!("{} {NOTICE}", facts.scenario);
    let county = rollup.county_week.rows_of(period)?;
    let field = rollup.field_week.rows_of(period)?;
    Ok(vec![
        ("SCENARIO.md", scenario_page(facts).into_bytes()),
        (
            "scenario_county_week.csv",
            write_csv(&county, facts.county_docs)?,
        ),
        (
            "scenario_county_week.parquet",
            write_scenario_parquet(&county, facts.county_docs, invented, &said)?,
        ),
        (
            "scenario_field_week.parquet",
            write_scenario_parquet(&field, facts.field_docs, invented, &said)?,
        ),
    ])
}
