//! A raw record → a visit row or a held row: schema, trade rules, county, statistics.
//!
//! It looks at one record alone; whether the store knows it already is [`super::identity`]'s to say.

use std::collections::{BTreeMap, HashMap};
use std::mem::take;

use sha2::{Digest, Sha256};

use crate::corrections::corrected::unwrapped;
use crate::judge::validate::{Refused, VisitSchema};
use crate::mapping::id_prefixes::{IdPrefixes, SenderPrefixes};
use crate::read::raw_record::{RawRecord, Sent};
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::Catalogue;
use scouting::region::{County, Region};
use scouting::visit::code::Code;
use scouting::visit::finding::Finding;
use scouting::visit::record::{Economics, Visit};
use scouting::visit::rows::{HeldRow, VisitRow};
use scouting::visit::rules::amount_rules::economics_findings;
use scouting::visit::rules::date_gaps::other_season;
use scouting::visit::rules::doubts::of_the_visit_alone;
use scouting::visit::rules::limits::{Limits, SeasonDays};
use scouting::visit::rules::{flags, holding_findings};
use scouting::visit::week::IsoWeek;

/// Most records are no longer than this when written.
const WRITTEN_BYTES: usize = 2_048;

/// All that a judgment rests on.
pub struct Judge {
    schema: VisitSchema,
    limits: HashMap<String, Limits>,
    protocol_ids: String,
    region: Region,
    season: SeasonDays,
    defaults: BTreeMap<String, Economics>,
    /// Years whose visits are taken although they were submitted in another season.
    earlier_seasons: Vec<i16>,
}

/// A record after it was judged.
pub enum Judged {
    /// Sound: its row, and what was sent in case that it meets a conflict.
    Sound(Box<VisitRow>, RawRecord),
    /// Not sound, with reasons.
    Unsound(Box<HeldRow>),
}

impl Judge {
    /// A judge for the protocols, region and season of a workspace, and its default economics by crop type.
    ///
    /// # Errors
    /// A [`Failure`] if the defaults of a crop type are not what a record could give: no protocol knows
    /// the type, or one that does finds an amount implausible.
    pub fn new(
        catalogue: &Catalogue,
        region: Region,
        season: SeasonDays,
        defaults: BTreeMap<String, Economics>,
    ) -> Result<Judge, Failure> {
        let limits: HashMap<String, Limits> = catalogue
            .protocols()
            .map(|protocol| (protocol.id.clone(), protocol.limits()))
            .collect();
        for (crop_type, economics) in &defaults {
            check_defaults(crop_type, economics, &limits)?;
        }
        Ok(Judge {
            schema: VisitSchema::new(),
            limits,
            protocol_ids: catalogue.ids(),
            region,
            season,
            defaults,
            earlier_seasons: Vec::new(),
        })
    }

    /// The judge, taking visits of earlier seasons too.
    pub fn with_earlier_seasons(mut self, years: Vec<i16>) -> Judge {
        self.earlier_seasons = years;
        self
    }

    /// Judges one record, puts the prefixes of its sender before its ids, and adds what is wrong with it whatever its
    /// values are.
    pub fn judge(&self, mut raw: RawRecord, senders: &SenderPrefixes) -> Judged {
        let returned = raw.returned.as_mut();
        let more = returned.map_or_else(Vec::new, |returned| take(&mut returned.findings));
        match self.judge_values(raw, senders) {
            judged if more.is_empty() => judged,
            Judged::Sound(row, raw) => {
                Judged::Unsound(Box::new(held(&raw, named(more, &row.visit))))
            }
            Judged::Unsound(mut row) => {
                row.findings.extend(more);
                Judged::Unsound(row)
            }
        }
    }

    fn judge_values(&self, raw: RawRecord, senders: &SenderPrefixes) -> Judged {
        let raw = unwrapped(raw);
        let of_sender = senders.of(raw.mends);
        let raw = raw.with_prefixes(of_sender);
        let read = match &raw.sent {
            Sent::Bytes(bytes) => self.schema.read(bytes),
            Sent::Rows(rows) => match &rows.document {
                Ok(document) => self.schema.read_value(document),
                Err(findings) => {
                    let refused = Refused::of(findings.clone(), &rows.draft);
                    return Judged::Unsound(Box::new(held(&raw, refused)));
                }
            },
        };
        let read = match read {
            Ok(read) => read,
            Err(refused) => return Judged::Unsound(Box::new(held(&raw, placed(&raw, *refused)))),
        };
        let prefixes = raw.prefixes().unwrap_or_else(|| of_sender.clone());
        match self.row(&raw, &prefixes, read.visit, read.byte_order_mark) {
            Ok(row) => Judged::Sound(Box::new(row), raw),
            Err(refused) => Judged::Unsound(Box::new(held(&raw, placed(&raw, *refused)))),
        }
    }

    fn row(
        &self,
        raw: &RawRecord,
        prefixes: &IdPrefixes,
        mut visit: Visit,
        byte_order_mark: bool,
    ) -> Result<VisitRow, Box<Refused>> {
        let mut findings = Vec::new();
        let mut codes = Vec::new();
        let limits = self.limits.get(&visit.protocol);
        let needed = limits.map_or(&[][..], |limits| {
            limits.economics_needed(&visit.field.crop_type)
        });
        let assumed = visit.economics.lacking(needed);
        let economics = match self.defaults.get(&visit.field.crop_type) {
            Some(defaults) => visit.economics.filled(&assumed, defaults),
            None => visit.economics.clone(),
        };
        let stage = limits.and_then(|limits| limits.scale.read(&visit.crop_stage));
        match limits {
            Some(limits) => {
                let (stage, season) = (stage, self.season);
                findings.extend(holding_findings(&visit, stage, &economics, limits, season));
                codes.extend(flags(&visit, &economics, limits));
            }
            None => findings.push(self.protocol_unknown(&visit)),
        }
        if !self.earlier_seasons.contains(&visit.observed_on.year()) {
            findings.extend(other_season(&visit));
        }
        findings.extend(prefixes.too_long(&visit));
        let county = self.county(&visit);
        match county {
            Some(county) => codes.extend(self.county_doubt(&visit, &county.id)),
            None => findings.push(self.no_county(&visit)),
        }
        if byte_order_mark {
            codes.push(Code::ByteOrderMark);
        }
        // A protocol, county or stage that is not there has its finding.
        match (limits, county, stage) {
            (Some(limits), Some(county), Some(stage)) if findings.is_empty() => {
                let mut doubts = of_the_visit_alone(&visit, limits);
                doubts.extend_from_slice(raw.doubts());
                prefixes.put(&mut visit);
                Ok(VisitRow {
                    line: raw.line,
                    observed_on: visit.observed_on,
                    submitted_at: visit.submitted_at.instant(),
                    week: IsoWeek::of(visit.observed_on),
                    stage,
                    county_id: county.id.clone(),
                    point: visit.field.point().unwrap_or_else(|| county.inner_point()),
                    statistics: visit.sampling_statistics(limits.catch_by_night, &limits.zones),
                    economics,
                    assumed,
                    doubts,
                    flags: codes,
                    content_sha256: content_sha256(&visit),
                    sender: None,
                    revision_sent: None,
                    visit,
                })
            }
            _ => Err(Box::new(named(findings, &visit))),
        }
    }

    fn protocol_unknown(&self, visit: &Visit) -> Finding {
        Finding::new(
            Code::ProtocolUnknown,
            "/protocol",
            format!("{:?}", visit.protocol),
            format!(
                "a protocol of the catalog is expected: {}",
                self.protocol_ids
            ),
        )
    }

    /// Boundaries are good to about 300 m, so a stated county that differs is a flag, not an error.
    /// The county of a visit: that of its point, else the one that it states by id or name.
    fn county(&self, visit: &Visit) -> Option<&County> {
        match visit.field.point() {
            Some((lon, lat)) => self.region.locate(lon, lat),
            None => self.region.county_called(visit.field.county_id.as_deref()?),
        }
    }

    fn county_doubt(&self, visit: &Visit, county_id: &str) -> Option<Code> {
        if visit.field.point().is_none() {
            return Some(Code::PointUnknown);
        }
        let stated = visit.field.county_id.as_deref()?;
        if stated == county_id {
            None
        } else if self.region.county(stated).is_some() {
            Some(Code::CountyMismatch)
        } else {
            Some(Code::CountyNotInRegion)
        }
    }
}

impl Judge {
    fn no_county(&self, visit: &Visit) -> Finding {
        if let Some(point) = visit.field.point() {
            return outside_region(point);
        }
        Finding::new(
            Code::CountyUnknown,
            "/field/county_id",
            format!("{:?}", visit.field.county_id.as_deref().unwrap_or_default()),
            format!(
                "the id or the name of a county of the region, as {:?}; or the field's point, lon and lat",
                self.region.counties()[0].id
            ),
        )
    }
}

/// Findings about a record of a table name the cell that each member came from.
fn placed(raw: &RawRecord, mut refused: Refused) -> Refused {
    if let Sent::Rows(rows) = &raw.sent {
        for finding in &mut refused.findings {
            if let Some(place) = rows.place(&finding.pointer) {
                finding.found = format!("{} in {place}", finding.found);
            }
            if finding.code == Code::DateAfterSubmission
                && let Some(fixed_by) = &rows.submission_fixed_by
            {
                finding.expected += &format!("; {fixed_by}");
            }
        }
    }
    refused
}

/// What is assumed of many records must be no less sound than what one of them says.
fn check_defaults(
    crop_type: &str,
    economics: &Economics,
    limits: &HashMap<String, Limits>,
) -> Result<(), Failure> {
    let refused = |what: String| {
        Failure::new(
            Kind::Settings,
            format!("[defaults.{crop_type}] cannot be used: {what}"),
        )
        .at("bractline.toml")
    };
    let mut knowing: Vec<&Limits> = limits.values().collect();
    knowing.retain(|limits| limits.crop_types.iter().any(|known| known == crop_type));
    knowing.sort_by(|one, other| one.protocol.cmp(&other.protocol));
    if knowing.is_empty() {
        let mut known: Vec<&str> = limits
            .values()
            .flat_map(|limits| limits.crop_types.iter().map(String::as_str))
            .collect();
        known.sort_unstable();
        known.dedup();
        return Err(refused("no protocol knows this crop type".to_owned())
            .mend(format!("the crop types are {}", known.join(", "))));
    }
    let mut findings = knowing
        .into_iter()
        .flat_map(|limits| economics_findings(economics, limits));
    findings.next().map_or(Ok(()), |finding| {
        Err(refused(format!("found {}", finding.found)).mend(finding.expected))
    })
}

/// A held row of a record.
pub fn held(raw: &RawRecord, refused: Refused) -> HeldRow {
    assert!(
        !refused.findings.is_empty(),
        "a record is held for a reason"
    );
    let record = raw.kept();
    HeldRow {
        line: raw.line,
        visit_id: refused.visit_id,
        revision: refused.revision,
        observer_id: refused.observer_id,
        findings: refused.findings,
        record_sha256: Sha256::digest(&record).into(),
        record,
        mends: raw.mends,
        sender: None,
    }
}

/// Findings about a record whose members could be read.
pub fn named(findings: Vec<Finding>, visit: &Visit) -> Refused {
    Refused {
        findings,
        visit_id: Some(visit.visit_id.clone()),
        revision: Some(visit.revision),
        observer_id: Some(visit.observer_id.clone()),
    }
}

fn outside_region((lon, lat): (f64, f64)) -> Finding {
    Finding::new(
        Code::OutsideRegion,
        "/field",
        format!("lon {lon}, lat {lat}"),
        "a point in a county of the region is expected; are lon and lat swapped, or a sign lost?",
    )
}

/// SHA-256 of the record as we would write it: member order, spaces and `8.00` for `8` do not
/// matter.
pub fn content_sha256(visit: &Visit) -> [u8; 32] {
    // Written first and hashed as a whole: counts come a digit at a time, and hashing pays by the block.
    let mut text = Vec::with_capacity(WRITTEN_BYTES);
    serde_json::to_writer(&mut text, visit).expect("a visit is plain JSON");
    Sha256::digest(&text).into()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The hash says which records a store has already, so it must not change from version to version: dates,
    /// times and the stage count as they were written.
    #[test]
    fn the_hash_of_a_record_is_that_of_its_canonical_text() {
        let text = r#"{"schema_version":"1.0","visit_id":"v-1","revision":2,"observed_on":"2026-07-21","submitted_at":"2026-07-21T23:30:00.250-05:00","observer_id":"o-1","field":{"field_id":"f-1","lon":-100.5,"lat":44.0,"area_ha":62.4,"crop_type":"oilseed"},"protocol":"bsm-eggs","crop_stage":"r 5.1","sites":[{"site":1,"heads":[[0,1],[2]]}]}"#;
        let visit: Visit = serde_json::from_str(text).unwrap();
        assert_eq!(serde_json::to_string(&visit).unwrap(), text);
        let sha256 = "4acf8bc48655d0cd780a7c984c97cb923c5e657f7ad0b71e486c3361d46d93dc";
        let digits = content_sha256(&visit).map(|byte| format!("{byte:02x}"));
        assert_eq!(digits.concat(), sha256);
    }
}
