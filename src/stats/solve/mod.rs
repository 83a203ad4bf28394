//! Numerical methods that the others share.

pub(crate) mod bisection;
pub(crate) mod least_squares;
