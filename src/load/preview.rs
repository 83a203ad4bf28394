//! The first records of a submission as they would be stored, for a person who looks before loading.
//!
//! A row is one visit in the units of the record, with what became of it. It is private, as visits are.

use serde::Serialize;

use scouting::visit::record::{Economics, TreatmentKind};
use scouting::visit::rows::{HeldRow, VisitRow};
use scouting::visit::words::disarmed;

/// The first records of a submission, and what the mapping does with each column.
#[derive(Debug, Serialize)]
pub(crate) struct Preview {
    #[serde(skip)]
    rows_max: usize,
    #[serde(skip)]
    file_name: String,
    /// In the order of the submission.
    pub(super) visits: Vec<PreviewRow>,
}

/// A record as it would be stored, or why it would not.
#[derive(Debug, Clone, Default, Serialize)]
pub(crate) struct PreviewRow {
    file_name: String,
    pub(super) line: u64,
    pub(super) becomes: &'static str,
    pub(super) visit_id: Option<String>,
    revision: Option<u32>,
    pub(super) field_id: Option<String>,
    pub(super) observed_on: Option<String>,
    pub(super) observer_id: Option<String>,
    protocol: Option<String>,
    pub(super) crop_type: Option<String>,
    pub(super) crop_stage: Option<String>,
    treated_on: Option<String>,
    treatment: Option<&'static str>,
    county_id: Option<String>,
    pub(super) lon: Option<f64>,
    pub(super) lat: Option<f64>,
    pub(super) area_ha: Option<f64>,
    pub(super) treatment_cost_amount: Option<f64>,
    pub(super) treatment_cost_per: Option<&'static str>,
    pub(super) treatment_cost_currency: Option<String>,
    pub(super) market_value_amount: Option<f64>,
    pub(super) market_value_per: Option<&'static str>,
    pub(super) market_value_currency: Option<String>,
    pub(super) plant_population_count: Option<f64>,
    pub(super) plant_population_per: Option<&'static str>,
    pub(super) sites: Option<u32>,
    pub(super) units: Option<u32>,
    pub(super) mean: Option<f64>,
    /// Its first finding, if it would be held.
    pub(super) finding: Option<String>,
}

impl Preview {
    /// The first so many records of a file.
    pub(super) fn of(rows_max: usize, file_name: &str) -> Preview {
        Preview {
            rows_max,
            file_name: file_name.to_owned(),
            visits: Vec::new(),
        }
    }

    /// Adds a sound record; `becomes` is accepted or duplicate.
    pub(super) fn add_visit(&mut self, row: &VisitRow, becomes: &'static str) {
        if self.visits.len() < self.rows_max {
            let row = PreviewRow::of_visit(row, becomes);
            self.push(row);
        }
    }

    /// Adds a record that would be held.
    pub(super) fn add_held(&mut self, row: &HeldRow) {
        if self.visits.len() < self.rows_max {
            self.push(PreviewRow {
                line: row.line,
                becomes: "held",
                visit_id: row.visit_id.clone(),
                revision: row.revision,
                observer_id: row.observer_id.clone(),
                finding: row.findings.first().map(ToString::to_string),
                ..PreviewRow::default()
            });
        }
    }

    fn push(&mut self, row: PreviewRow) {
        self.visits.push(PreviewRow {
            file_name: self.file_name.clone(),
            ..row
        });
    }

    /// The rows as a spreadsheet may open them.
    pub(super) fn disarmed(&self) -> impl Iterator<Item = PreviewRow> {
        self.visits.iter().cloned().map(PreviewRow::disarmed)
    }
}

impl PreviewRow {
    fn of_visit(row: &VisitRow, becomes: &'static str) -> PreviewRow {
        let (visit, statistics) = (&row.visit, &row.statistics);
        let row = PreviewRow {
            line: row.line,
            becomes,
            visit_id: Some(visit.visit_id.clone()),
            revision: Some(visit.revision),
            field_id: Some(visit.field.field_id.clone()),
            observed_on: Some(visit.observed_on.to_string()),
            observer_id: Some(visit.observer_id.clone()),
            protocol: Some(visit.protocol.clone()),
            crop_type: Some(visit.field.crop_type.clone()),
            crop_stage: Some(visit.crop_stage.clone()),
            treated_on: visit.treated_on.map(|day| day.to_string()),
            treatment: visit.treatment.map(TreatmentKind::name),
            county_id: Some(row.county_id.clone()),
            lon: visit.field.lon,
            lat: visit.field.lat,
            area_ha: Some(visit.field.area_ha),
            sites: Some(statistics.sites),
            units: Some(statistics.units),
            mean: Some(statistics.field_mean),
            ..PreviewRow::default()
        };
        row.with_economics(&visit.economics)
    }

    fn with_economics(mut self, economics: &Economics) -> PreviewRow {
        if let Some(cost) = &economics.treatment_cost {
            self.treatment_cost_amount = Some(cost.amount);
            self.treatment_cost_per = Some(cost.per.name());
            self.treatment_cost_currency = Some(cost.currency.clone());
        }
        if let Some(value) = &economics.market_value {
            self.market_value_amount = Some(value.amount);
            self.market_value_per = Some(value.per.name());
            self.market_value_currency = Some(value.currency.clone());
        }
        if let Some(plants) = &economics.plant_population {
            self.plant_population_count = Some(plants.count);
            self.plant_population_per = Some(plants.per.name());
        }
        self
    }

    fn disarmed(mut self) -> PreviewRow {
        self.file_name = disarmed(&self.file_name);
        let texts = [
            &mut self.visit_id,
            &mut self.field_id,
            &mut self.observer_id,
            &mut self.protocol,
            &mut self.crop_type,
            &mut self.crop_stage,
            &mut self.county_id,
            &mut self.finding,
        ];
        for text in texts.into_iter().flatten() {
            *text = disarmed(text);
        }
        self
    }
}
