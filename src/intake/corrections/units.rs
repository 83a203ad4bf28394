//! How many heads, plants or traps a visit has: as it was sent out to be corrected, and as it came back.
//!
//! A row of a spreadsheet is deleted by one key. So the two numbers must agree, or the sender must write the new one into
//! the column `held_units`.

use serde_json::Value;

use crate::corrections::kept_rows::ReadOfRows;
use scouting::visit::code::{Class, Code};
use scouting::visit::finding::Finding;

const FORMS: [(&str, &str); 3] = [("heads", "head"), ("plants", "plant"), ("traps", "trap")];

/// The units of each site, by what the site is called.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Units {
    sites: Vec<(String, u64)>,
}

impl Units {
    /// The units of a record, as far as it could be read.
    pub fn of(visit: &Value) -> Units {
        let mut units = Units::default();
        for site in sites(visit) {
            let name = site.get("site").map(Value::to_string).unwrap_or_default();
            let of_form = |(form, _): &(&str, _)| site.get(form)?.as_array().map(Vec::len);
            let number: usize = FORMS.iter().filter_map(of_form).sum();
            units.add(&name, number as u64);
        }
        units
    }

    /// Adds units of a site.
    pub(crate) fn add(&mut self, site: &str, number: u64) {
        match self.sites.iter_mut().find(|(name, _)| name == site) {
            Some((_, known)) => *known += number,
            None => self.sites.push((site.to_owned(), number)),
        }
    }

    /// All of them.
    pub fn sum(&self) -> u64 {
        self.sites.iter().map(|(_, number)| number).sum()
    }

    /// `4 heads (site 1: 2, site 2: 2)`.
    pub fn in_words(&self, unit: &str) -> String {
        let sites = self.sites.iter();
        let sites: Vec<String> = sites
            .map(|(name, number)| format!("site {name}: {number}"))
            .collect();
        let plural = if self.sum() == 1 { "" } else { "s" };
        match sites.is_empty() {
            true => format!("no {unit}"),
            false => format!("{} {unit}{plural} ({})", self.sum(), sites.join(", ")),
        }
    }
}

/// What a unit of the record is called: `head`.
pub fn unit_word(visit: &Value) -> &'static str {
    let has = |form: &str| sites(visit).any(|site| site.get(form).is_some());
    let form = FORMS.iter().find(|(form, _)| has(form));
    form.map_or("unit", |(_, word)| word)
}

/// The most counts of a head; 0 where no head says how many it has.
pub fn most_counts(visit: &Value) -> usize {
    let heads = sites(visit).filter_map(|site| site.get("heads")?.as_array());
    let counts = heads
        .flatten()
        .filter_map(|head| head.as_array().map(Vec::len));
    counts.max().unwrap_or(0)
}

/// Whether a finding is about what the rows cannot show: which of them there are, or what was left out of them. Then the
/// number of units is to be stated, or the record would be accepted as it went out.
pub fn number_is_asked(read: &ReadOfRows, findings: &[Finding]) -> bool {
    let of_cells = |code: Code| matches!(code.class(), Class::Cell | Class::CountSheet);
    let shows = |pointer: &str| {
        let value = read.visit.pointer(pointer);
        read.unread.contains_key(pointer) || value.is_none_or(|value| is_blank(pointer, value))
    };
    let is_of_sites = |pointer: &str| pointer == "/sites";
    findings
        .iter()
        .filter(|finding| of_cells(finding.code))
        .any(|finding| is_of_sites(&finding.pointer) || !shows(&finding.pointer))
}

/// Whether a value is missing, or some of the counts of one unit.
fn is_blank(pointer: &str, value: &Value) -> bool {
    let is_unit = pointer.starts_with("/sites/") && pointer.matches('/').count() == 4;
    let counts = value.as_array().filter(|_| is_unit);
    value.is_null() || counts.is_some_and(|counts| counts.iter().any(Value::is_null))
}

fn sites(visit: &Value) -> impl Iterator<Item = &Value> {
    visit
        .get("sites")
        .and_then(Value::as_array)
        .into_iter()
        .flatten()
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn units_are_counted_site_by_site_in_every_form() {
        let visit = json!({"sites": [{"site": 1, "heads": [[0], [null]]}, {"site": 2, "plants": [1]}, {"site": 2}]});
        let units = Units::of(&visit);
        assert_eq!(units.in_words("head"), "3 heads (site 1: 2, site 2: 1)");
        assert_eq!(unit_word(&visit), "head");
        assert_eq!(
            (Units::of(&json!(null)).sum(), unit_word(&json!({}))),
            (0, "unit")
        );
    }

    #[test]
    fn the_number_is_asked_where_the_cells_do_not_show_what_is_wrong() {
        let read = ReadOfRows {
            visit: json!({"field": {"lon": 1}, "sites": [{"site": 1, "heads": [[0, null]]}]}),
            id_recipe: None,
            unread: [("/observed_on".to_owned(), json!("6/7/2026"))].into(),
        };
        let asked =
            |code, pointer: &str| number_is_asked(&read, &[Finding::new(code, pointer, "x", "y")]);
        for pointer in ["/sites", "/sites/0", "/sites/0/heads", "", "/field/lon"] {
            assert!(asked(Code::RowsDisagree, pointer), "{pointer}");
        }
        for pointer in [
            "/observed_on",
            "/sites/0/heads/0/1",
            "/sites/0/heads/0",
            "/crop_stage",
        ] {
            assert!(!asked(Code::RowsDisagree, pointer), "{pointer}");
        }
        assert!(
            !asked(Code::OutOfRange, "/field/lon"),
            "the rules judge it again"
        );
    }
}
