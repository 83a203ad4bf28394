//! What a record says of the latest treatment of the field before the visit, and what it means for the counts.
//!
//! A count soon after a treatment says how well the treatment worked, not what the pressure is. It is kept and flagged,
//! and the roll-up leaves it out of pressure (`pipeline/stages/20_visit_pressure.sql`). The two members are optional, each
//! by itself:
//!
//! | `treated_on` | `treatment` | |
//! |--|--|--|
//! | – | – | nothing is known of a treatment: the count is used |
//! | – | none | the field was not treated: the count is used |
//! | a day | insecticide, other | left out for the days of the protocol, flagged |
//! | a day | – | the same, flagged: the kind is not known |
//! | – | insecticide, other | left out, flagged: how long ago it was is not known |
//! | a day | none | held: one of the two is wrong |

use crate::visit::code::Code;
use crate::visit::finding::Finding;
use crate::visit::record::{TreatmentKind, Visit};
use crate::visit::rules::limits::Limits;

/// A treatment more days before the visit is of another season: a crop is in the field for four to five months (common
/// practice, no source), so such a date has a wrong year or month.
const DAYS_BEFORE_VISIT_MAX: i64 = 180;

/// Every finding about the treatment that holds the record.
pub(in crate::visit) fn treatment_findings(visit: &Visit) -> Vec<Finding> {
    let findings = [
        treated_after_visit(visit),
        treated_long_before_visit(visit),
        untreated_with_date(visit),
    ];
    findings.into_iter().flatten().collect()
}

/// The flags about the treatment.
pub(in crate::visit) fn treatment_flags(visit: &Visit, limits: &Limits) -> Vec<Code> {
    let is_treated = !matches!(visit.treatment, None | Some(TreatmentKind::None));
    let days = days_since_treatment(visit);
    let days_left_out = 0..=i64::from(limits.after_treatment_days);
    let flags = [
        // Nobody knows whether a count on the day of a treatment came first, so that day is one of them.
        (
            days.is_some_and(|days| days_left_out.contains(&days)),
            Code::AfterTreatment,
        ),
        (
            is_treated && visit.treated_on.is_none(),
            Code::TreatmentWithoutDate,
        ),
        (
            visit.treated_on.is_some() && visit.treatment.is_none(),
            Code::TreatmentWithoutKind,
        ),
    ];
    let given = flags.into_iter().filter(|(is_given, _)| *is_given);
    given.map(|(_, code)| code).collect()
}

fn days_since_treatment(visit: &Visit) -> Option<i64> {
    let way = visit.observed_on.duration_since(visit.treated_on?);
    Some(way.as_hours() / 24)
}

/// The treatment is after the visit: a plan, or a wrong date.
fn treated_after_visit(visit: &Visit) -> Option<Finding> {
    let days = days_since_treatment(visit)?;
    let treated_on = visit.treated_on?;
    (days < 0).then(|| {
        Finding::new(
            Code::TreatedAfterVisit,
            "/treated_on",
            treated_on.to_string(),
            format!(
                "the day of the latest treatment before the visit is expected, {} at the latest; a treatment that is planned is left out",
                visit.observed_on
            ),
        )
    })
}

/// The treatment is of another season.
fn treated_long_before_visit(visit: &Visit) -> Option<Finding> {
    let days = days_since_treatment(visit)?;
    let treated_on = visit.treated_on?;
    (days > DAYS_BEFORE_VISIT_MAX).then(|| {
        Finding::new(
            Code::TreatedLongBeforeVisit,
            "/treated_on",
            format!("{treated_on}, {days} days before the visit on {}", visit.observed_on),
            format!(
                "a treatment of this season is expected, at most {DAYS_BEFORE_VISIT_MAX} days before the visit: is the year or the month another?"
            ),
        )
    })
}

/// The record says that the field was not treated, and when.
fn untreated_with_date(visit: &Visit) -> Option<Finding> {
    let treated_on = visit.treated_on?;
    (visit.treatment == Some(TreatmentKind::None)).then(|| {
        Finding::new(
            Code::UntreatedWithDate,
            "/treated_on",
            format!("{treated_on}, where the treatment is none"),
            "no date where the field was not treated, or the kind of the treatment: insecticide or other",
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::visit::rules::limits::tests::limits_with;

    /// A visit on July 21, 2026 that says this of a treatment.
    fn visit(said: &str) -> Visit {
        let text = format!(
            r#"{{"schema_version":"1.0","visit_id":"v-1","revision":1,"observed_on":"2026-07-21","submitted_at":"2026-07-21T23:30:00Z","observer_id":"o-1","field":{{"field_id":"f-1","lon":-100.5,"lat":44.0,"area_ha":62.4,"crop_type":"oilseed"}},"protocol":"bsm-eggs","crop_stage":"R3",{said}"sites":[{{"site":1,"heads":[[0,0,0,0,0,0]]}}]}}"#
        );
        serde_json::from_str(&text).unwrap()
    }

    fn codes_of(said: &str) -> Vec<&'static str> {
        let visit = visit(said);
        let findings = treatment_findings(&visit);
        let held = findings.into_iter().map(|finding| finding.code);
        let flags = treatment_flags(&visit, &limits_with(150.0, 600.0));
        held.chain(flags).map(Code::as_str).collect()
    }

    #[test]
    fn counts_are_left_out_from_the_day_of_a_treatment_to_the_last_day_of_the_protocol() {
        for (day, is_after) in [
            ("2026-07-21", true),
            ("2026-07-20", true),
            ("2026-07-07", true),
            ("2026-07-06", false),
            ("2026-01-22", false),
        ] {
            let said = format!(r#""treated_on":"{day}","treatment":"insecticide","#);
            let expected: &[&str] = if is_after { &["after-treatment"] } else { &[] };
            assert_eq!(codes_of(&said), expected, "{day}");
        }
    }

    #[test]
    fn half_of_a_statement_is_taken_and_flagged() {
        for (said, codes) in [
            ("", &[][..]),
            (r#""treatment":"none","#, &[]),
            (r#""treatment":"other","#, &["treatment-without-date"]),
            (
                r#""treated_on":"2026-07-14","#,
                &["after-treatment", "treatment-without-kind"],
            ),
            (r#""treated_on":"2026-07-01","#, &["treatment-without-kind"]),
        ] {
            assert_eq!(codes_of(said), codes, "{said}");
        }
    }

    #[test]
    fn what_cannot_be_is_held() {
        for (said, code) in [
            (
                r#""treated_on":"2026-07-22","treatment":"other","#,
                "treated-after-visit",
            ),
            (
                r#""treated_on":"2025-07-14","treatment":"other","#,
                "treated-long-before-visit",
            ),
            (
                r#""treated_on":"2026-07-01","treatment":"none","#,
                "untreated-with-date",
            ),
        ] {
            assert_eq!(codes_of(said), [code], "{said}");
        }
    }
}
