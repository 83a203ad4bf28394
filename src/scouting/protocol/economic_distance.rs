//! Economic distance: how far into a field, from its edge, the density is at or above the threshold.
//!
//! Density falls with the logarithm of the distance from the edge: at D meters it is the density at the
//! sampling site times (intercept + slope · ln D). J. Econ. Entomol. 101(3):969-975 (2008) gives
//! `ED = exp((EIL/E - 1.458) / -0.262)` for eggs of the banded sunflower moth, E being the density
//! at the site. Numbers come from the protocol's file; what is drawn with them is in
//! [`crate::region`]. It knows no field and no site.

use serde::de::Error;
use serde::{Deserialize, Deserializer};

/// The table `[edge_decline]` of a protocol whose pest comes in from the edge.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EdgeDecline {
    /// Density one meter from the edge ÷ density at the sampling site; above 0.
    #[serde(deserialize_with = "above_zero")]
    pub intercept: f64,
    /// Change of that ratio with each unit of ln(meters); below 0.
    #[serde(deserialize_with = "below_zero")]
    pub slope_per_ln_m: f64,
    /// Where the two come from.
    pub source: String,
}

impl EdgeDecline {
    /// Meters from the edge up to which the field is at or above its threshold, by a site's pressure
    /// (its mean ÷ the field's threshold). 0 for a site below its threshold or without a pressure, though
    /// the formula would give a number there. The field's own width is not known here.
    pub fn economic_distance_m(&self, pressure: f64) -> f64 {
        if pressure.is_nan() || pressure < 1.0 {
            return 0.0;
        }
        ((1.0 / pressure - self.intercept) / self.slope_per_ln_m).exp()
    }
}

fn above_zero<'de, D: Deserializer<'de>>(deserializer: D) -> Result<f64, D::Error> {
    let number = f64::deserialize(deserializer)?;
    match number.is_finite() && number > 0.0 {
        true => Ok(number),
        false => Err(D::Error::custom(format!(
            "found {number}; it must be a number above 0"
        ))),
    }
}

fn below_zero<'de, D: Deserializer<'de>>(deserializer: D) -> Result<f64, D::Error> {
    let number = f64::deserialize(deserializer)?;
    match number.is_finite() && number < 0.0 {
        true => Ok(number),
        false => Err(D::Error::custom(format!(
            "found {number}; it must be a number below 0, since density declines from the edge"
        ))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TABLE: &str = r#"
        intercept = 1.458
        slope_per_ln_m = -0.262
        source = "J. Econ. Entomol. 101(3):969-975 (2008)"
    "#;

    fn decline() -> EdgeDecline {
        toml::from_str(TABLE).expect("the published relation")
    }

    #[track_caller]
    fn assert_near(found: f64, expected: f64, tolerance: f64) {
        let near = (found - expected).abs() <= tolerance;
        assert!(near, "{found}, expected {expected}");
    }

    /// J. Econ. Entomol. 101(3):969-975 (2008): recomputed from the printed relation.
    #[test]
    fn the_distance_is_that_of_the_published_relation() {
        for (pressure, meters) in [
            (1.0, 5.743_6),
            (1.5, 20.498_6),
            (2.0, 38.725_1),
            (4.0, 100.553_2),
            (10.0, 178.253_4),
            (100.0, 251.317_6),
            (f64::INFINITY, 261.095_3),
        ] {
            assert_near(decline().economic_distance_m(pressure), meters, 1e-3);
        }
        // EIL 3.205128 and 5.4 eggs: the worked figure of the same formula.
        assert_near(
            decline().economic_distance_m(5.4 / 3.205_128),
            27.097_9,
            1e-3,
        );
    }

    /// The same relation below the threshold, where it would still give a number.
    #[test]
    fn a_site_below_its_threshold_has_no_distance() {
        for (pressure, formula) in [(0.5, 0.126), (0.8, 2.212), (0.9, 3.758)] {
            let decline = decline();
            let number = ((1.0 / pressure - decline.intercept) / decline.slope_per_ln_m).exp();
            assert_near(number, formula, 1e-3);
            assert_eq!(decline.economic_distance_m(pressure), 0.0);
        }
        for pressure in [0.0, 0.999_999_999, -1.0, f64::NAN] {
            assert_eq!(decline().economic_distance_m(pressure), 0.0, "{pressure}");
        }
    }

    #[test]
    fn no_pressure_reaches_beyond_the_limit() {
        // Where the density of the relation is 0: exp(1.458 / 0.262).
        let limit = decline().economic_distance_m(f64::INFINITY);
        assert_near(limit, 261.1, 0.05);
        let mut before = 0.0;
        for step in 0..400 {
            let distance = decline().economic_distance_m(1.07_f64.powi(step));
            assert!(
                distance > before || step > 300,
                "it grows with the pressure"
            );
            assert!(distance <= limit);
            before = distance;
        }
    }

    #[test]
    fn a_table_that_is_wrong_is_refused_with_the_reason() {
        for (written, instead, reason) in [
            ("-0.262", "0.262", "below 0"),
            ("-0.262", "nan", "below 0"),
            ("1.458", "0.0", "above 0"),
            ("1.458", "inf", "above 0"),
            ("intercept", "intercpt", "unknown field"),
            ("source", "sauce", "unknown field"),
            ("1.458", "\"1.458\"", "expected"),
        ] {
            let table = TABLE.replace(written, instead);
            let refused = toml::from_str::<EdgeDecline>(&table).expect_err("it is wrong");
            assert!(refused.to_string().contains(reason), "{instead}: {refused}");
        }
    }
}
