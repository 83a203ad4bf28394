//! Neighboring counties: spatial autocorrelation and shrunken proportions.

pub mod moran;
pub mod shrinkage;
