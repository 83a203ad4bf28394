//! How counts scatter: the negative binomial, the power law of variance, indices of dispersion.

pub mod aggregation;
pub mod dispersion;
pub mod frequencies;
pub mod moment_estimators;
pub mod negative_binomial;
pub mod power_law;
pub(crate) mod rising_factorial;
pub mod variance_law;
