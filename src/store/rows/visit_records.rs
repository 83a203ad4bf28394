//! Stored revisions of visits as the records that they were, so that they can be shown, changed and brought again.
//!
//! The store keeps every member of a record but one: of the moment of handing in it keeps the instant, not the time
//! zone that it was written in.

use std::collections::HashMap;

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::Offset;
use serde::Deserialize;
use serde_json::{Map, Value, json};

use crate::delta::snapshot::Snapshot;
use crate::rows::decode;
use crate::rows::query_rows::{batches, rows, unreadable};
use scouting::failure::{Failure, Kind};
use scouting::visit::record::Visit;

/// A revision of a visit, with what the store knows of it besides its record.
#[derive(Debug, Clone)]
pub struct StoredRevision {
    /// The load that brought it.
    pub load_id: String,
    /// Its line in the submission.
    pub line: u64,
    /// Who sent it, if it is known.
    pub sender: Option<String>,
    /// The number that its sender gave it, if it was another one.
    pub revision_sent: Option<u32>,
    /// Codes of what is doubtful, space between.
    pub flags: Option<String>,
    /// Members of the economics that were filled in, space between.
    pub assumed: Option<String>,
    /// County of its point.
    pub county_id: String,
    /// Mean of the site means.
    pub field_mean: f64,
    /// The record.
    pub visit: Visit,
}

impl Snapshot {
    /// Every revision of a visit, in the order of their numbers; none if the store has no such visit.
    ///
    /// # Errors
    /// A [`Failure`] if the store cannot be read.
    pub async fn revisions_of_visit(&self, visit_id: &str) -> Result<Vec<StoredRevision>, Failure> {
        self.revisions(&format!("visit_id = {}", quoted(visit_id)))
            .await
    }

    /// Every revision of each visit of which a load brought one, in the order of visits and numbers.
    ///
    /// # Errors
    /// A [`Failure`] if the store cannot be read.
    pub async fn revisions_by_load(&self, load_id: &str) -> Result<Vec<StoredRevision>, Failure> {
        let load_id = quoted(load_id);
        self.revisions(&format!(
            "visit_id in (select visit_id from visits where load_id = {load_id})"
        ))
        .await
    }

    /// The visits of a field that count between two days, both included, under a protocol, in the order of their days.
    ///
    /// # Errors
    /// A [`Failure`] if the store cannot be read.
    pub async fn visits_of_field(
        &self,
        field_id: &str,
        protocol: &str,
        days: (Date, Date),
    ) -> Result<Vec<String>, Failure> {
        #[derive(Deserialize)]
        struct Row {
            visit_id: String,
        }
        let (field_id, protocol) = (quoted(field_id), quoted(protocol));
        let (first, last) = days;
        let query = format!(
            "with visible as (select * from visits where load_id in (select load_id from receipts)), \
             newest as (select visit_id, max(revision) as revision from visible group by visit_id) \
             select visible.visit_id as visit_id from visible inner join newest \
               on visible.visit_id = newest.visit_id and visible.revision = newest.revision \
             where not retracted and field_id = {field_id} and protocol = {protocol} \
               and observed_on between date '{first}' and date '{last}' \
             order by observed_on, visible.visit_id"
        );
        let visits: Vec<Row> = rows(self.session(), &query).await?;
        Ok(visits.into_iter().map(|row| row.visit_id).collect())
    }

    async fn revisions(&self, which: &str) -> Result<Vec<StoredRevision>, Failure> {
        let visible = format!("load_id in (select load_id from receipts) and {which}");
        let mut sites = self.sites(&visible).await?;
        let query = format!(
            "select load_id, line, visit_id, revision, retracted, observed_on, submitted_at, observer_id, field_id, \
               farm_id, lon, lat, point_from, county_id, county_id_stated, area_ha, outline, crop_type, protocol, \
               crop_stage_stated, treatment_cost_amount, treatment_cost_per, treatment_cost_currency, \
               market_value_amount, market_value_per, market_value_currency, plant_population_count, \
               plant_population_per, assumed, count_form, field_mean, flags, remarks, sender, revision_sent, \
               treated_on, treatment \
             from visits where {visible} order by visit_id, revision"
        );
        let mut revisions = Vec::new();
        for batch in batches(self.session(), &query).await? {
            let columns: Vec<VisitColumns> =
                decode::rows(&batch).map_err(|error| unreadable(error.to_string()))?;
            for row in columns {
                let key = (row.load_id.clone(), row.visit_id.clone(), row.revision);
                let sites = sites.remove(&key).unwrap_or_default();
                revisions.push(row.revision(sites)?);
            }
        }
        Ok(revisions)
    }

    /// The units of revisions, by load, visit and revision, in order.
    async fn sites(
        &self,
        which: &str,
    ) -> Result<HashMap<(String, String, u32), Vec<UnitColumns>>, Failure> {
        let query = format!(
            "select load_id, visit_id, revision, site, side, site_lon, site_lat, total, nights, \
               array_to_string(counts, ' ') as counts \
             from units where {which} order by load_id, visit_id, revision, site, unit"
        );
        let mut sites: HashMap<_, Vec<UnitColumns>> = HashMap::new();
        for batch in batches(self.session(), &query).await? {
            let columns: Vec<UnitColumns> =
                decode::rows(&batch).map_err(|error| unreadable(error.to_string()))?;
            for row in columns {
                let key = (row.load_id.clone(), row.visit_id.clone(), row.revision);
                sites.entry(key).or_default().push(row);
            }
        }
        Ok(sites)
    }
}

/// A text of SQL.
fn quoted(text: &str) -> String {
    format!("'{}'", text.replace('\'', "''"))
}

#[derive(Deserialize)]
struct VisitColumns {
    load_id: String,
    line: u64,
    visit_id: String,
    revision: u32,
    retracted: bool,
    #[serde(deserialize_with = "decode::day")]
    observed_on: Date,
    #[serde(deserialize_with = "decode::moment")]
    submitted_at: Timestamp,
    observer_id: String,
    field_id: String,
    farm_id: Option<String>,
    lon: f64,
    lat: f64,
    county_id: String,
    county_id_stated: Option<String>,
    area_ha: f64,
    outline: Option<String>,
    crop_type: String,
    protocol: String,
    crop_stage_stated: String,
    treatment_cost_amount: Option<f64>,
    treatment_cost_per: Option<String>,
    treatment_cost_currency: Option<String>,
    market_value_amount: Option<f64>,
    market_value_per: Option<String>,
    market_value_currency: Option<String>,
    plant_population_count: Option<f64>,
    plant_population_per: Option<String>,
    assumed: Option<String>,
    count_form: String,
    field_mean: f64,
    flags: Option<String>,
    remarks: Option<String>,
    sender: Option<String>,
    revision_sent: Option<u32>,
    point_from: Option<String>,
    #[serde(deserialize_with = "decode::day_or_none")]
    treated_on: Option<Date>,
    treatment: Option<String>,
}

#[derive(Deserialize)]
struct UnitColumns {
    load_id: String,
    visit_id: String,
    revision: u32,
    site: u32,
    side: Option<String>,
    site_lon: Option<f64>,
    site_lat: Option<f64>,
    total: u64,
    nights: Option<u32>,
    counts: String,
}

impl VisitColumns {
    fn revision(self, units: Vec<UnitColumns>) -> Result<StoredRevision, Failure> {
        let record = self.record(&units)?;
        let visit = serde_json::from_value(record)
            .map_err(|error| damaged(&self.visit_id, self.revision, &error.to_string()))?;
        Ok(StoredRevision {
            load_id: self.load_id,
            line: self.line,
            sender: self.sender,
            revision_sent: self.revision_sent,
            flags: self.flags,
            assumed: self.assumed,
            county_id: self.county_id,
            field_mean: self.field_mean,
            visit,
        })
    }

    fn record(&self, units: &[UnitColumns]) -> Result<Value, Failure> {
        let mut field = json!({
            "field_id": self.field_id, "area_ha": self.area_ha, "crop_type": self.crop_type,
        });
        if self.point_from.is_none() {
            put(&mut field, "lon", Some(self.lon));
            put(&mut field, "lat", Some(self.lat));
        }
        put(&mut field, "farm_id", self.farm_id.as_deref());
        put(&mut field, "county_id", self.county_id_stated.as_deref());
        if let Some(outline) = &self.outline {
            let outline: Value = serde_json::from_str(outline)
                .map_err(|error| damaged(&self.visit_id, self.revision, &error.to_string()))?;
            put(&mut field, "outline", Some(outline));
        }
        let mut record = json!({
            "schema_version": "1.0", "visit_id": self.visit_id, "revision": self.revision,
            "observed_on": self.observed_on.to_string(),
            "submitted_at": written(self.submitted_at, self.observed_on), "observer_id": self.observer_id,
            "field": field, "protocol": self.protocol, "crop_stage": self.crop_stage_stated,
            "sites": self.sites(units),
        });
        let treated_on = self.treated_on.map(|day| day.to_string());
        put(&mut record, "treated_on", treated_on);
        put(&mut record, "treatment", self.treatment.as_deref());
        put(&mut record, "economics", self.economics());
        put(&mut record, "remarks", self.remarks.as_deref());
        put(&mut record, "retracted", self.retracted.then_some(true));
        Ok(record)
    }

    /// What was given of the economics: an amount with its unit and its currency.
    fn economics(&self) -> Option<Value> {
        let mut economics = Map::new();
        if let Some(amount) = self.treatment_cost_amount {
            let cost = json!({"amount": amount, "per": self.treatment_cost_per, "currency": self.treatment_cost_currency});
            economics.insert("treatment_cost".to_owned(), cost);
        }
        if let Some(amount) = self.market_value_amount {
            let value = json!({"amount": amount, "per": self.market_value_per, "currency": self.market_value_currency});
            economics.insert("market_value".to_owned(), value);
        }
        if let Some(count) = self.plant_population_count {
            let plants = json!({"count": count, "per": self.plant_population_per});
            economics.insert("plant_population".to_owned(), plants);
        }
        (!economics.is_empty()).then_some(Value::Object(economics))
    }

    fn sites(&self, units: &[UnitColumns]) -> Vec<Value> {
        let sites = units.chunk_by(|one, next| one.site == next.site);
        let sites = sites.map(|units| {
            let first = &units[0];
            let of_units: Vec<Value> = units.iter().map(|unit| self.unit(unit)).collect();
            let mut site = json!({"site": first.site});
            put(&mut site, "side", first.side.as_deref());
            put(&mut site, "lon", first.site_lon);
            put(&mut site, "lat", first.site_lat);
            put(&mut site, &self.count_form, Some(of_units));
            site
        });
        sites.collect()
    }

    fn unit(&self, unit: &UnitColumns) -> Value {
        match self.count_form.as_str() {
            "heads" => unit
                .counts
                .split_whitespace()
                .map(|count| count.parse().map_or(Value::Null, |count: u32| json!(count)))
                .collect(),
            "traps" => json!({"catch": unit.total, "nights": unit.nights}),
            _ => json!(unit.total),
        }
    }
}

/// Puts a member into an object, if there is a value.
fn put(object: &mut Value, name: &str, value: Option<impl Into<Value>>) {
    if let (Some(members), Some(value)) = (object.as_object_mut(), value) {
        members.insert(name.to_owned(), value.into());
    }
}

/// An instant as a record has it: in UTC, or so far east that its day is not before the day of the visit, as it was not
/// where it was written.
fn written(instant: Timestamp, observed_on: Date) -> String {
    let mut hours = 1..=14_i8;
    let there = |hours: i8| Some(Offset::from_hours(hours).ok()?.to_datetime(instant));
    let reaches = |hours: &i8| there(*hours).is_some_and(|moment| moment.date() >= observed_on);
    if Offset::UTC.to_datetime(instant).date() >= observed_on {
        return instant.to_string();
    }
    let east = hours.find(reaches);
    match east.and_then(|hours| Some((hours, there(hours)?))) {
        Some((hours, moment)) => format!("{moment}+{hours:02}:00"),
        None => instant.to_string(),
    }
}

fn damaged(visit_id: &str, revision: u32, reason: &str) -> Failure {
    Failure::new(
        Kind::Damaged,
        format!("revision {revision} of {visit_id} is damaged: {reason}"),
    )
    .mend("`bractline store verify` says more")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_day_of_handing_in_is_not_before_the_visit() {
        let day = Date::constant(2026, 7, 22);
        let instant: Timestamp = "2026-07-21T23:30:00.25Z".parse().expect("an instant");
        assert_eq!(written(instant, day), "2026-07-22T00:30:00.25+01:00");
        assert_eq!(
            written(instant, Date::constant(2026, 7, 20)),
            "2026-07-21T23:30:00.25Z"
        );
        for text in [
            written(instant, day),
            written(instant, Date::constant(2026, 7, 1)),
        ] {
            let read =
                scouting::visit::dates::WrittenInstant::read(&text).expect("as a record has it");
            assert_eq!(read.instant(), instant);
        }
    }
}
