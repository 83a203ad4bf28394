//! Indices of dispersion: whether units scatter like chance, and how crowded what is counted lives.
//!
//! Formulas: Lloyd, M. 1967, Mean crowding, J. Anim. Ecol. 36:1–30; Morisita, M. 1959, Mem. Fac. Sci.
//! Kyushu Univ. E 2:215–235 (both citations from memory). They describe; nothing is fitted here.

use crate::counts::frequencies::CountFrequencies;

/// A chi-square with its degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChiSquare {
    /// The sum of squared deviations in units of the expected variance.
    pub value: f64,
    /// Degrees of freedom.
    pub degrees_of_freedom: u64,
}

/// Lloyd's mean crowding `m + s²/m − 1`: how many others the average individual has on its unit. `None`
/// for a mean that is not above 0.
pub fn mean_crowding(mean: f64, variance: f64) -> Option<f64> {
    (mean > 0.0 && variance.is_finite()).then(|| mean + variance / mean - 1.0)
}

/// Patchiness, mean crowding ÷ mean: 1 for chance, above it for aggregation. `None` for a mean that is
/// not above 0.
pub fn patchiness(mean: f64, variance: f64) -> Option<f64> {
    mean_crowding(mean, variance).map(|crowding| crowding / mean)
}

/// Morisita's index `units·(Σx² − Σx) / ((Σx)² − Σx)`: 1 for chance. `None` where fewer than two
/// individuals were counted.
pub fn morisita_index(counts: &CountFrequencies) -> Option<f64> {
    let total = counts.total() as f64;
    let pairs: f64 = counts
        .iter()
        .map(|(count, units)| units as f64 * count as f64 * (count as f64 - 1.0))
        .sum();
    (counts.total() > 1).then(|| counts.units() as f64 * pairs / (total * (total - 1.0)))
}

/// Fisher's index of dispersion `(units − 1)·s²/m`, a chi-square if the counts are Poisson's. `None`
/// for fewer than two units or a mean of 0.
pub fn dispersion_chi_square(counts: &CountFrequencies) -> Option<ChiSquare> {
    let mean = counts.mean().filter(|mean| *mean > 0.0)?;
    let degrees_of_freedom = counts.units() - 1;
    let value = degrees_of_freedom as f64 * counts.variance()? / mean;
    Some(ChiSquare {
        value,
        degrees_of_freedom,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::counts::frequencies::CountFrequencies;

    #[test]
    fn mites_on_apple_leaves_are_crowded() {
        // Counts: Bliss & Fisher 1953, Biometrics 9:176–200, red mites on 150 apple leaves. Indices
        // recomputed from these counts by the formulas.
        let mites = CountFrequencies::of_frequencies(&[70, 38, 17, 10, 9, 3, 2, 1]);
        let mean = mites.mean().expect("150 leaves have a mean");
        let variance = mites.variance().expect("150 leaves have a variance");
        let close = |value: Option<f64>, expected: f64| {
            assert!(
                value.is_some_and(|value| (value - expected).abs() < 5e-7),
                "{value:?}, expected {expected}"
            );
        };
        close(Some(variance / mean), 1.982831);
        close(mean_crowding(mean, variance), 2.129498);
        close(patchiness(mean, variance), 1.857120);
        close(morisita_index(&mites), 1.856385);
        let chi_square = dispersion_chi_square(&mites).expect("150 leaves with mites");
        assert!((chi_square.value - 295.44186).abs() < 5e-6);
        assert_eq!(chi_square.degrees_of_freedom, 149);
    }

    #[test]
    fn indices_of_nothing_are_not_there() {
        let empty = CountFrequencies::of_frequencies(&[20]);
        assert_eq!(mean_crowding(0.0, 0.0), None);
        assert_eq!(patchiness(0.0, 0.0), None);
        assert_eq!(morisita_index(&empty), None);
        assert_eq!(morisita_index(&CountFrequencies::of_counts(&[1, 0])), None);
        assert_eq!(dispersion_chi_square(&empty), None);
        let one = CountFrequencies::of_counts(&[4]);
        assert_eq!(dispersion_chi_square(&one), None);
    }
}
