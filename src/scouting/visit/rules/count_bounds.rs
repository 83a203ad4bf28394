//! Counts of one unit that nobody finds: a mark for a missing count, a year, the number of another column.
//!
//! A protocol says from which count of a unit on a visit is flagged, and from which it is held. The unit is what the
//! mean is of: the six bracts of a bud together, a plant, a trap by night or over the whole flight.

use crate::visit::code::Code;
use crate::visit::finding::Finding;
use crate::visit::record::{CountForm, Visit};
use crate::visit::rules::limits::{CountBounds, Limits};

/// A unit counts so much that the record cannot be right; it is held.
pub(in crate::visit) fn count_impossible(visit: &Visit, limits: &Limits) -> Option<Finding> {
    let bounds = limits.count_bounds.as_ref()?;
    let largest = Largest::of(visit, limits)?;
    (largest.value >= bounds.impossible).then(|| {
        largest.finding(
            (Code::CountImpossible, bounds.impossible),
            bounds,
            "is it a mark for a missing count, a year, or the number of another column?",
        )
    })
}

/// A unit counts more than is ever seen, and less than what is impossible.
pub(in crate::visit) fn count_strange(visit: &Visit, limits: &Limits) -> Option<Finding> {
    let bounds = limits.count_bounds.as_ref()?;
    let largest = Largest::of(visit, limits)?;
    (largest.value >= bounds.strange).then(|| {
        largest.finding(
            (Code::CountStrange, bounds.strange),
            bounds,
            "was it counted, or mistyped?",
        )
    })
}

/// The unit of a visit that counts most.
struct Largest {
    value: f64,
    /// Pointer to the unit.
    pointer: String,
    /// Its largest count, with its place in the unit.
    count: u32,
    place: usize,
    form: CountForm,
}

impl Largest {
    fn of(visit: &Visit, limits: &Limits) -> Option<Largest> {
        let sites = visit.sites.iter().enumerate();
        let units = sites.flat_map(|(site, of_site)| {
            let units = of_site.units().enumerate();
            units.map(move |(unit, counted)| (site, unit, counted.value(limits.catch_by_night)))
        });
        let (site, unit, value) = units.reduce(|most, next| match next.2 > most.2 {
            true => next,
            false => most,
        })?;
        let form = visit.sites[site].count_form()?;
        let counted = visit.sites[site].units().nth(unit)?;
        let counts = counted.counts.iter().enumerate();
        let (place, count) = counts.max_by_key(|(_, count)| count.0)?;
        Some(Largest {
            value,
            pointer: format!("/sites/{site}/{}/{unit}", form.member()),
            count: count.0,
            place,
            form,
        })
    }

    fn finding(&self, (code, bound): (Code, f64), bounds: &CountBounds, asked: &str) -> Finding {
        // One count that is too large by itself is named; else the unit is.
        let is_one_count = self.form == CountForm::Heads && f64::from(self.count) >= bound;
        let (pointer, found) = match (self.form, is_one_count) {
            (CountForm::Heads, true) => (
                format!("{}/{}", self.pointer, self.place),
                format!("{} ({} on the whole head)", self.count, self.value),
            ),
            (CountForm::Traps, _) => (
                format!("{}/catch", self.pointer),
                format!(
                    "a catch of {}, {} {}",
                    self.count, self.value, bounds.counted
                ),
            ),
            _ => (self.pointer.clone(), format!("a count of {}", self.value)),
        };
        Finding::new(
            code,
            pointer,
            found,
            format!(
                "{} expects less than {bound} {}: {asked}",
                bounds.protocol, bounds.counted
            ),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::visit::rules::limits::tests::limits_with;

    fn visit(sites: &str) -> Visit {
        let text = format!(
            r#"{{"schema_version":"1.0","visit_id":"v-1","revision":1,"observed_on":"2026-07-21","submitted_at":"2026-07-21T23:30:00Z","observer_id":"o-1","field":{{"field_id":"f-1","lon":-100.5,"lat":44.0,"area_ha":62.4,"crop_type":"oilseed"}},"protocol":"bsm-eggs","crop_stage":"R3","sites":{sites}}}"#
        );
        serde_json::from_str(&text).unwrap()
    }

    #[test]
    fn a_bound_is_for_the_whole_unit_and_names_one_count_that_passes_it_alone() {
        let limits = limits_with(150.0, 600.0);
        let just = visit(r#"[{"site":1,"heads":[[100,100,100,100,100,99],[0,0,0,0,0,0]]}]"#);
        assert_eq!(count_impossible(&just, &limits), None);
        let found = count_strange(&just, &limits).unwrap();
        assert_eq!(
            (&*found.pointer, &*found.found),
            ("/sites/0/heads/0", "a count of 599")
        );

        let whole = visit(r#"[{"site":1,"heads":[[0,0,0,0,0,0],[100,100,100,100,100,100]]}]"#);
        let found = count_impossible(&whole, &limits).unwrap();
        assert_eq!(found.pointer, "/sites/0/heads/1");
        assert!(
            found
                .expected
                .starts_with("bsm-eggs expects less than 600 eggs")
        );

        let one = visit(r#"[{"site":1,"heads":[[0,0,0,0,0,0],[0,999,0,0,3,0]]}]"#);
        let found = count_impossible(&one, &limits).unwrap();
        assert_eq!(found.pointer, "/sites/0/heads/1/1");
        assert_eq!(found.found, "999 (1002 on the whole head)");
    }

    #[test]
    fn a_trap_is_compared_by_its_nights_and_no_bound_is_no_finding() {
        let mut limits = limits_with(100.0, 1_000.0);
        limits.catch_by_night = true;
        let week = visit(r#"[{"site":1,"traps":[{"catch":693,"nights":7}]}]"#);
        assert_eq!(count_strange(&week, &limits), None);
        let night = visit(r#"[{"site":1,"traps":[{"catch":693,"nights":1}]}]"#);
        let found = count_strange(&night, &limits).unwrap();
        assert_eq!(found.pointer, "/sites/0/traps/0/catch");
        limits.count_bounds = None;
        assert_eq!(count_strange(&night, &limits), None);
    }
}
