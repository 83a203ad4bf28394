//! Under a plan with zones, each site says in which it is, and each zone has a site: else there is no mean of the field.

use crate::visit::code::Code;
use crate::visit::finding::Finding;
use crate::visit::record::Visit;
use crate::visit::rules::limits::Limits;
use crate::visit::rules::quoted;

pub(super) fn zone_missing(visit: &Visit, limits: &Limits) -> Option<Finding> {
    let zones = &limits.zones;
    if let Some(place) = zones.site_without(&visit.sites) {
        let side = visit.sites[place].side.as_deref();
        return Some(Finding::new(
            Code::ZoneMissing,
            format!("/sites/{place}/side"),
            side.map_or("nothing".to_owned(), quoted),
            format!(
                "{} samples zones of a field; expected: the zone of the site, one of {}",
                limits.protocol,
                zones.in_words()
            ),
        ));
    }
    let empty = zones.zone_without_sites(&visit.sites)?;
    Some(Finding::new(
        Code::ZoneMissing,
        "/sites",
        format!("no site in the zone {empty}"),
        format!(
            "{} needs a site in each of {}",
            limits.protocol,
            zones.in_words()
        ),
    ))
}
