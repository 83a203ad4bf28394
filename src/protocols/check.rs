//! The worked values of the protocols, compared with their sources.

use serde::Serialize;

use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::Catalogue;
use scouting::protocol::threshold::{agrees, worked_values};

/// A worked value with what was found.
#[derive(Serialize)]
pub(crate) struct Checked<'a> {
    protocol: &'a str,
    agrees: bool,
    found: f64,
    expected: f64,
    tolerance: f64,
    source: &'a str,
}

impl Checked<'_> {
    /// Every worked value of a catalog.
    ///
    /// # Errors
    /// A [`Failure`] if one cannot be computed.
    pub(crate) fn of(catalogue: &Catalogue) -> Result<Vec<Checked<'_>>, Failure> {
        let mut all = Vec::new();
        for protocol in catalogue.protocols() {
            for (check, found) in protocol.checks.iter().zip(worked_values(protocol)?) {
                all.push(Checked {
                    protocol: &protocol.id,
                    agrees: agrees(check, found),
                    found,
                    expected: check.expect,
                    tolerance: check.tolerance,
                    source: &check.source,
                });
            }
        }
        Ok(all)
    }

    /// For people.
    pub(crate) fn text(&self) -> String {
        format!(
            "{} {}: {:.5}, {} ± {} in: {}",
            if self.agrees { "agrees" } else { "DIFFERS" },
            self.protocol,
            self.found,
            self.expected,
            self.tolerance,
            self.source
        )
    }
}

/// # Errors
/// A [`Failure`] if a worked value differs from its source.
pub(crate) fn check_agree(all: &[Checked]) -> Result<(), Failure> {
    match all.iter().filter(|checked| !checked.agrees).count() {
        0 => Ok(()),
        wrong => Err(Failure::new(
            Kind::Protocol,
            format!("{wrong} worked values differ from their source"),
        )
        .mend("correct the expression, its units, or the expected value")),
    }
}
