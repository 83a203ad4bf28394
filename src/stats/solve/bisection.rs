//! Where a function of a positive number falls through zero.

/// The place between `low` and `high`, both above 0, where a function falls from above 0 at `low` to 0 or
/// below at `high`: by halving the interval of the logarithm, to the last digit of a double. It needs no
/// derivative, cannot leave the interval and always ends.
pub(crate) fn fall_to_zero(function: impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
    let (mut low, mut high) = (low, high);
    loop {
        let middle = low.sqrt() * high.sqrt();
        if middle <= low || middle >= high {
            return middle;
        }
        if function(middle) > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_a_root_to_the_last_digits() {
        for square in [1e-12, 2.0, 4.0, 1e18] {
            let root = fall_to_zero(|x| square - x * x, 1e-10, 1e10);
            assert!((root - square.sqrt()).abs() <= 1e-15 * root, "{root}");
        }
    }
}
