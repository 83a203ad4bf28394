//! How counts scatter: the negative binomial and the power law of variance.

pub mod aggregation;
pub mod frequencies;
pub mod moment_estimators;
pub mod negative_binomial;
pub mod power_law;
pub(crate) mod rising_factorial;
pub mod variance_law;
