//! The threshold of each visit, from the protocols' SQL expressions; and their worked values.
//!
//! The statement made here is the only generated SQL of the program. It reads the canonical
//! columns of `current_visit` and nothing else. How an expression is planned and what is refused is in
//! [`super::plan_threshold`].

use super::planned::ThresholdField;
use super::protocol_file::{Check, Protocol};
use crate::failure::{Failure, Kind};

/// The SQL of the table `visit_threshold`: the rows of `current_visit` with the threshold of each
/// field, in the unit of its mean; null where the protocol is no longer in the catalogue, or where the record
/// lacks what its expression needs.
pub fn visit_threshold_sql<'a>(protocols: impl IntoIterator<Item = &'a Protocol>) -> String {
    let branches: String = protocols
        .into_iter()
        .map(|protocol| {
            format!(
                "        when '{}' then cast({} as double)\n",
                protocol.id,
                protocol.planned().sql()
            )
        })
        .collect();
    format!("select\n    *,\n    case protocol\n{branches}    end as threshold\nfrom current_visit")
}

/// Runs the worked values of a protocol; the thresholds found, in the order of its checks.
///
/// # Errors
/// A [`Failure`] if a worked value gives less than its threshold needs.
pub fn worked_values(protocol: &Protocol) -> Result<Vec<f64>, Failure> {
    let values = protocol.checks.iter().map(|check| {
        let given = &check.given;
        let field = ThresholdField {
            economics: &given.economics(),
            area_ha: given.area_ha.unwrap_or(protocol.plausible.area_ha[0]),
            crop_type: given.crop_type.as_ref().unwrap_or(&protocol.crop_types[0]),
            crop_stage: given.crop_stage.as_ref().unwrap_or(&protocol.stages.first),
        };
        threshold_of(protocol, &field)
    });
    values.collect()
}

/// Whether a worked value agrees with its source.
pub fn agrees(check: &Check, found: f64) -> bool {
    (found - check.expect).abs() <= check.tolerance
}

/// The threshold of a protocol for one field, in the unit of the field mean.
///
/// # Errors
/// A [`Failure`] if the field lacks what the threshold needs.
pub fn threshold_of(protocol: &Protocol, field: &ThresholdField<'_>) -> Result<f64, Failure> {
    let refused = |reason: String| {
        let what = format!("cannot compute the threshold of {}", protocol.id);
        Failure::new(Kind::Protocol, what).at(reason)
    };
    let values = protocol.planned().values(std::slice::from_ref(field));
    let value = values.map_err(refused)?.first().copied().flatten();
    value.ok_or_else(|| {
        let needed = protocol.planned().economics_needed().get(field.crop_type);
        let lacking = field.economics.lacking(needed.map_or(&[], Vec::as_slice));
        let names: Vec<&str> = lacking.iter().map(|member| member.name()).collect();
        refused(format!("[threshold] expression, for {}", field.crop_type))
            .mend(format!("give what it needs: {}", names.join(", ")))
    })
}
