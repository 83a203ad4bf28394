//! Statistics of pest sampling, as pure functions of numbers: no file, no clock, no table, no other module of ours.
//!
//! - [`counts`]: frequencies of counts, fits of the negative binomial's k (maximum likelihood, moments) and of Taylor's law.
//! - [`sampling`]: how clumped a season's counts are, the range of a field's mean and how likely it is at its threshold;
//!   sample sizes for a precision; Wald's sequential plans and what a field plan risks, by simulation; Wilson's interval of
//!   a proportion, and whether it is over a third.
//! - [`trend`]: Mann-Kendall, its correction for serial correlation, Theil-Sen slopes, and how a season's course compares.
//! - [`space`]: Moran's I with permutations, and proportions shrunken toward the mean.
//! - [`nowcast`]: the delay of reports, and the chain ladder.
//!
//! Every function names its source, its units, and when it gives no value. To use the crate in an analysis of your own,
//! depend on it by path: it needs `statrs` and `rand` alone.
//!
//! ```
//! use stats::counts::frequencies::CountFrequencies;
//! use stats::counts::moment_estimators::k_by_moments;
//!
//! // Bliss & Fisher 1953, Biometrics 9:176-200: 150 apple leaves by the number of mites on them.
//! let mites = CountFrequencies::of_frequencies(&[70, 38, 17, 10, 9, 3, 2, 1]);
//! let (mean, variance) = (mites.mean().unwrap(), mites.variance().unwrap());
//! assert!((k_by_moments(mean, variance).unwrap() - 1.166697).abs() < 5e-7);
//! ```

#![warn(unreachable_pub)]

pub mod counts;
pub mod nowcast;
pub mod sampling;
mod solve;
pub mod space;
pub mod trend;
