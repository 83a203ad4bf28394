//! How far into a field, from its edge, pressure is at threshold. For the field's owner.

use std::path::PathBuf;

use arrow::array::{Array, AsArray, RecordBatch};
use arrow::datatypes::Float64Type;
use serde::Serialize;

use crate::figures::rolled_up::note_without_threshold;
use crate::figures::setting::roll_up_setting;
use crate::plan::edge_page::{EdgeLine, EdgePage, NO_STRIP_TO_SPRAY};
use crate::plan::strips::{SampledSite, draw_strips};
use crate::shared::cautions::OF_ONE_FIELD;
use crate::shared::files::write_private_folder;
use crate::shared::shown_numbers::{Form, Units, display_number};
use crate::shared::tables::csv_of;
use crate::workspace::Workspace;
use crate::workspace::open::{open_catalogue, open_region, open_snapshot, open_store};
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::Protocol;
use scouting::protocol::economic_distance::EdgeDecline;
use scouting::visit::week::{IsoWeek, NamedWeek};
use scouting::visit::words::disarmed;
use store::alerts::table::published_rows;
use store::delta::snapshot::Snapshot;
use store::rows::visit_sites::VisitSites;
use store::stages::run::roll_up;

/// Which field is looked at.
pub(crate) struct EdgeOptions {
    /// Field ID.
    pub(crate) field: String,
    /// Id of the protocol.
    pub(crate) protocol: String,
    /// The week; the newest with a visit if `None`.
    pub(crate) week: Option<NamedWeek>,
    /// Output folder.
    pub(crate) out: Option<PathBuf>,
}

const PRIVATE: &str = "Private: for the field's owner. Nothing in it is published.";

/// A row of economic_distance.csv, and of the report.
#[derive(Debug, Clone, Serialize)]
struct SiteRow {
    site: u32,
    side: Option<String>,
    mean: f64,
    pressure: f64,
    economic_distance_m: f64,
}

impl SiteRow {
    /// The row as CSV may hold it: the side is a scout's text.
    fn in_table(&self) -> SiteRow {
        SiteRow {
            side: self.side.as_deref().map(disarmed),
            ..self.clone()
        }
    }
}

/// What is reported.
#[derive(Debug, Serialize)]
pub(crate) struct Reached {
    field_id: String,
    visit_id: String,
    iso_week: String,
    threshold: f64,
    sites: Vec<SiteRow>,
    area_ha: Option<f64>,
    outline_area_ha: Option<f64>,
    notes: Vec<String>,
    caution: &'static str,
    private: &'static str,
    files: Vec<PathBuf>,
    /// The protocol.
    #[serde(skip)]
    protocol: Protocol,
    /// Units of the office.
    #[serde(skip)]
    units: Units,
}

impl Reached {
    /// Draws the strips along the sampled sides of the field, as GeoJSON, and notes their area and what is not known;
    /// `None` if they cannot be drawn.
    fn draw(&mut self, visit: &VisitSites) -> Option<Vec<u8>> {
        let Some(outline) = &visit.outline else {
            self.notes
                .push("The record has no outline: strips cannot be drawn.".to_owned());
            return None;
        };
        let sites = visit.sites.iter().zip(&self.sites);
        let sampled: Vec<SampledSite> = sites
            .map(|(site, row)| SampledSite {
                site: site.site,
                point: site.point,
                side: site.side.clone(),
                distance_m: row.economic_distance_m,
            })
            .collect();
        let strips = match draw_strips(outline, &sampled) {
            Ok(strips) => strips,
            Err(flaw) => {
                self.notes.push(format!("No strips: {flaw}."));
                return None;
            }
        };
        self.area_ha = Some(strips.area_ha);
        self.outline_area_ha = Some(strips.outline_area_ha);
        if strips.unsampled_m > 0.5 {
            let length = self.units.distance(strips.unsampled_m);
            self.notes.push(format!(
                "For {length} of the edge there is no site: its strip is not known."
            ));
        }
        let without = strips.without_strip.iter();
        self.notes
            .extend(without.map(|(site, why)| format!("Site {site} has no strip: {why}.")));
        let mut map = strips.to_geojson(OF_ONE_FIELD);
        let members = map.foreign_members.get_or_insert_default();
        members.insert("private".to_owned(), PRIVATE.into());
        Some(map.to_string().into_bytes())
    }

    /// For people.
    pub(crate) fn text(&self) -> String {
        text(self)
    }

    /// The sites as pages and texts show them.
    fn lines(&self) -> Vec<EdgeLine> {
        let sites = self.sites.iter();
        sites
            .map(|site| EdgeLine {
                site: site.site,
                side: site.side.clone().unwrap_or_default(),
                mean: format!("{:.2}", site.mean),
                pressure: display_number(site.pressure, Form::Pressure),
                distance: match site.economic_distance_m {
                    distance if distance > 0.0 => {
                        format!("{} from the edge", self.units.distance(distance))
                    }
                    _ => "below threshold".to_owned(),
                },
            })
            .collect()
    }

    /// The area of the strips, in a sentence; `None` where they could not be drawn.
    fn area_in_words(&self) -> Option<String> {
        let (area, outline) = (self.area_ha?, self.outline_area_ha?);
        Some(format!(
            "Area at or above threshold along the sampled sides: {} of {}.",
            self.units.area(area),
            self.units.area(outline)
        ))
    }

    fn page(&self) -> Result<String, Failure> {
        let page = EdgePage {
            protocol: &self.protocol,
            field_id: &self.field_id,
            iso_week: &self.iso_week,
            threshold: format!("{:.2}", self.threshold),
            lines: self.lines(),
            area: self.area_in_words(),
            notes: &self.notes,
            private: self.private,
        };
        page.html()
    }
}

/// How density falls from the edge under a protocol.
fn decline_of(protocol: &Protocol) -> Result<&EdgeDecline, Failure> {
    protocol.edge_decline.as_ref().ok_or_else(|| {
        Failure::new(
            Kind::Protocol,
            format!(
                "{} says nothing of how density falls from the edge",
                protocol.id
            ),
        )
        .at("--protocol")
        .mend("a protocol with a table [edge_decline] does; see bractline protocols show bsm-eggs")
    })
}

fn site_rows(visit: &VisitSites, threshold: f64, decline: &EdgeDecline) -> Vec<SiteRow> {
    let rows = visit.sites.iter().map(|site| {
        let pressure = site.mean / threshold;
        SiteRow {
            site: site.site,
            side: site.side.clone(),
            mean: site.mean,
            pressure,
            economic_distance_m: decline.economic_distance_m(pressure),
        }
    });
    rows.collect()
}

impl EdgeOptions {
    /// How far in from its edge the field is at threshold; writes the files if a folder is named.
    ///
    /// # Errors
    /// A [`Failure`] if the protocol says nothing of edges, or the field has no visit.
    pub(crate) async fn reach(self, workspace: &Workspace) -> Result<Reached, Failure> {
        let snapshot = open_snapshot(workspace).await?;
        self.reach_in(workspace, &snapshot).await
    }

    /// The same in one version of the store: the visit, its threshold and its sites are all read from it, whatever is
    /// loaded meanwhile.
    async fn reach_in(
        self,
        workspace: &Workspace,
        snapshot: &Snapshot,
    ) -> Result<Reached, Failure> {
        let catalogue = open_catalogue(workspace)?;
        let protocol = catalogue.protocol(&self.protocol).ok_or_else(|| {
            Failure::new(Kind::Protocol, format!("no protocol {:?}", self.protocol))
                .at("--protocol")
                .mend(format!("the catalog has {}", catalogue.ids()))
        })?;
        let decline = decline_of(protocol)?;
        let published = published_rows(&open_store(workspace).await?).await?;
        // No day of treatment is asked for, so no temperatures are.
        let setting = roll_up_setting(workspace, &open_region(workspace)?, None, &published)?;
        let rollup = roll_up(snapshot, None, &catalogue, &setting).await?;
        note_without_threshold(rollup.visits_without_threshold);
        let week = self.week.map(|week| week.among(&setting.weeks));
        let standing = self.standing_visit(&rollup.field_week().batch, week)?;
        let visit = snapshot.visit_sites(&standing.visit_id).await?;
        let mut reached = Reached {
            sites: site_rows(&visit, standing.threshold, decline),
            field_id: self.field.clone(),
            visit_id: standing.visit_id,
            iso_week: standing.iso_week,
            threshold: standing.threshold,
            area_ha: None,
            outline_area_ha: None,
            notes: vec![format!("Decline from the edge: {}", decline.source.trim())],
            caution: OF_ONE_FIELD,
            private: PRIVATE,
            files: Vec::new(),
            protocol: protocol.clone(),
            units: workspace.settings().units.system,
        };
        let mut files = vec![(
            "economic_distance.csv",
            csv_of(reached.sites.iter().map(SiteRow::in_table))?,
        )];
        files.extend(reached.draw(&visit).map(|map| ("strips.geojson", map)));
        files.push(("edge.html", reached.page()?.into_bytes()));
        if let Some(folder) = &self.out {
            let written: Vec<(&str, &[u8])> = files
                .iter()
                .map(|(name, bytes)| (*name, &**bytes))
                .collect();
            write_private_folder(folder, &written)?;
            reached.files = files.iter().map(|(name, _)| folder.join(name)).collect();
        }
        Ok(reached)
    }

    /// The newest standing visit of the field within the stage window that follows no treatment, of the week that was asked for.
    fn standing_visit(
        &self,
        field_week: &RecordBatch,
        week: Option<IsoWeek>,
    ) -> Result<Standing, Failure> {
        let text = |name: &str| field_week[name].as_string::<i32>();
        let (fields, protocols, weeks) = (text("field_id"), text("protocol"), text("iso_week"));
        let visits = text("visit_id");
        let in_window = field_week["in_window"].as_boolean();
        let treated = field_week["after_treatment"].as_boolean();
        let thresholds = field_week["threshold"].as_primitive::<Float64Type>();
        let week = week.map(|week| week.to_string());
        let rows = (0..field_week.num_rows()).filter(|row| {
            fields.value(*row) == self.field
                && protocols.value(*row) == self.protocol
                && in_window.value(*row)
                && !treated.value(*row)
                && thresholds.is_valid(*row)
                && week.as_ref().is_none_or(|week| weeks.value(*row) == week)
        });
        let newest = rows.max_by_key(|row| weeks.value(*row)).ok_or_else(|| {
            let when = week.map_or(String::new(), |week| format!(" in {week}"));
            Failure::new(
                Kind::Settings,
                format!(
                    "{} has no visit within the stage window{when} that follows no treatment",
                    self.field
                ),
            )
            .at(format!("under the protocol {}", self.protocol))
            .mend("field_week.parquet of `bractline rollup` lists the fields and their weeks")
        })?;
        Ok(Standing {
            visit_id: visits.value(newest).to_owned(),
            iso_week: weeks.value(newest).to_owned(),
            threshold: thresholds.value(newest),
        })
    }
}

struct Standing {
    visit_id: String,
    iso_week: String,
    threshold: f64,
}

/// The report for people.
fn text(reached: &Reached) -> String {
    let mut lines = vec![
        format!(
            "field {}, {}: threshold {:.3} {}",
            reached.field_id, reached.iso_week, reached.threshold, reached.protocol.counted
        ),
        String::new(),
        "site  side          mean  \u{d7} threshold  at threshold up to".to_owned(),
    ];
    lines.extend(reached.lines().into_iter().map(|line| {
        format!(
            "{:>4}  {:<10}  {:>6}  {:>11}  {}",
            line.site, line.side, line.mean, line.pressure, line.distance
        )
    }));
    lines.push(String::new());
    lines.extend(reached.area_in_words());
    lines.extend(reached.notes.iter().cloned());
    lines.push(NO_STRIP_TO_SPRAY.to_owned());
    lines.push(reached.caution.to_owned());
    lines.push(reached.private.to_owned());
    lines.extend(reached.files.iter().map(|file| file.display().to_string()));
    lines.join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::load::own::own_loader;
    use crate::workspace::init::make_workspace;
    use crate::workspace::own_region;
    use intake::read::formats::look_at;

    /// A visit with so many eggs on each of two heads.
    fn record(revision: u32, eggs: u32) -> String {
        format!(
            r#"{{"schema_version":"1.0","visit_id":"v-1","revision":{revision},"observed_on":"2026-07-21","submitted_at":"2026-07-21T18:00:00Z","observer_id":"obs-1","field":{{"field_id":"F-1","lon":-100.12345,"lat":44.12345,"area_ha":62.4,"crop_type":"oilseed"}},"protocol":"bsm-eggs","crop_stage":"R3","economics":{{"treatment_cost":{{"amount":8,"per":"acre","currency":"USD"}},"market_value":{{"amount":0.16,"per":"lb","currency":"USD"}},"plant_population":{{"count":20000,"per":"acre"}}}},"sites":[{{"site":1,"heads":[[{eggs},0,0,0,0,0],[{eggs},0,0,0,0,0]]}}]}}"#
        )
    }

    async fn load(workspace: &Workspace, record: &str) -> Result<(), Failure> {
        let file = workspace.folder().join("visit.json");
        std::fs::write(&file, record).map_err(|error| Failure::file("write", &file, error))?;
        let mut loader = own_loader(workspace, false).await?;
        let file = look_at(&file, "visit.json")?;
        let account = loader.load(&file, jiff::Timestamp::UNIX_EPOCH).await?;
        assert_eq!(account.counts.accepted, 1);
        Ok(())
    }

    fn asked() -> EdgeOptions {
        EdgeOptions {
            field: "F-1".to_owned(),
            protocol: "bsm-eggs".to_owned(),
            week: None,
            out: None,
        }
    }

    #[tokio::test]
    async fn everything_is_read_from_one_version_of_the_store() -> Result<(), Failure> {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let region = crate::workspace::RegionSettings {
            boundaries: "us:46".to_owned(),
            ..own_region("id", "name")
        };
        let place = folder.path().join("week");
        let (workspace, _) = make_workspace(&place, &region, None, "").await?;
        load(&workspace, &record(1, 7)).await?;
        let before = open_snapshot(&workspace).await?;
        load(&workspace, &record(2, 9)).await?;
        let reached = asked().reach_in(&workspace, &before).await?;
        assert_eq!(reached.sites[0].mean, 7.0);
        let reached = asked().reach(&workspace).await?;
        assert_eq!(reached.sites[0].mean, 9.0);
        Ok(())
    }
}
