//! Zones of a sampling plan that always puts some sites at the edge of a field and some inside: the strata of its mean.
//!
//! What is planned to differ is no scatter. So the mean is that of the zones, each weighted with the share of the field
//! that it represents, and its error is that of sites about the mean of their own zone (Cochran, W.G. 1977, Sampling
//! Techniques, 3rd ed., chapter 5; from memory).

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::record::Site;

/// The zones of a plan by name, each with the share of the field that it represents. Without zones, all sites are alike.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Zones(BTreeMap<String, f64>);

/// The sites of a zone, as places in the list of sites.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct ZoneSites {
    /// Share of the field.
    pub(super) share: f64,
    pub(super) sites: Vec<usize>,
}

impl Zones {
    /// Whether the plan has no zones.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Their names: `edge, inside`.
    pub fn in_words(&self) -> String {
        let names: Vec<&str> = self.0.keys().map(String::as_str).collect();
        names.join(", ")
    }

    /// Name and share of each: `edge 0.2, inside 0.8`.
    pub fn with_shares(&self) -> String {
        let zones = self.0.iter().map(|(name, share)| format!("{name} {share}"));
        zones.collect::<Vec<_>>().join(", ")
    }

    /// What is wrong with them in a protocol's file, if anything is.
    pub fn mistake(&self) -> Option<&'static str> {
        let sum: f64 = self.0.values().sum();
        let named_well = |name: &String| !name.is_empty() && *name == folded(name);
        if self.0.is_empty() {
            return None;
        }
        if self.0.len() < 2 || !self.0.keys().all(named_well) {
            return Some("two zones or more are expected, with names in lower case");
        }
        let shares_of_a_field =
            self.0.values().all(|share| *share > 0.0) && (sum - 1.0).abs() < 1e-9;
        (!shares_of_a_field).then_some("shares above 0 that add up to 1 are expected")
    }

    /// The first site whose `side` names none of the zones; `None` if each names one.
    pub(super) fn site_without(&self, sites: &[Site]) -> Option<usize> {
        let named = |site: &Site| self.of(site).is_some();
        sites
            .iter()
            .position(|site| !self.is_empty() && !named(site))
    }

    /// The first zone in which no site is.
    pub(super) fn zone_without_sites(&self, sites: &[Site]) -> Option<&str> {
        let mut names = self.0.keys();
        let name = names.find(|name| !sites.iter().any(|site| self.of(site) == Some(name)))?;
        Some(name)
    }

    /// The sites by zone; `None` without zones, and of a visit whose sites do not fill them.
    pub(super) fn sites_of(&self, sites: &[Site]) -> Option<Vec<ZoneSites>> {
        let filled = !self.is_empty()
            && self.site_without(sites).is_none()
            && self.zone_without_sites(sites).is_none();
        filled.then(|| {
            let zones = self.0.iter().map(|(name, share)| ZoneSites {
                share: *share,
                sites: (0..sites.len())
                    .filter(|place| self.of(&sites[*place]) == Some(name))
                    .collect(),
            });
            zones.collect()
        })
    }

    fn of(&self, site: &Site) -> Option<&str> {
        let (name, _) = self.0.get_key_value(&folded(site.side.as_deref()?))?;
        Some(name)
    }
}

fn folded(name: &str) -> String {
    name.trim().to_lowercase()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_are_those_of_a_field() {
        let zones = |text: &str| toml::from_str::<Zones>(text).unwrap();
        assert_eq!(zones("").mistake(), None);
        assert_eq!(zones("edge = 0.2\ninside = 0.8").mistake(), None);
        for wrong in [
            "edge = 1.0",
            "edge = 0.2\ninside = 0.7",
            "edge = 0.0\ninside = 1.0",
            "Edge = 0.2\ninside = 0.8",
        ] {
            assert!(zones(wrong).mistake().is_some(), "{wrong}");
        }
    }
}
