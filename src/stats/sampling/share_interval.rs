//! Wilson's score interval of a share at 95% (Newcombe, R.G. 1998, Statistics in Medicine 17(8):857-872, method 3).

/// The 0.975 quantile of the standard normal distribution.
const Z: f64 = 1.959_963_984_540_054;

/// Lower and upper end of the interval of `found` of `all`, 0 to 1; `None` of nothing.
pub fn wilson(found: u32, all: u32) -> Option<[f64; 2]> {
    if all == 0 {
        return None;
    }
    Some(score_interval(f64::from(found), f64::from(all), Z))
}

/// The same at any number of standard deviations, of more than nothing; `found` may be a middle of two counts.
pub(crate) fn score_interval(found: f64, all: f64, deviations: f64) -> [f64; 2] {
    let share = found / all;
    let squared = deviations * deviations;
    let width = 1.0 + squared / all;
    let middle = (share + squared / (2.0 * all)) / width;
    let reach =
        deviations * (share * (1.0 - share) / all + squared / (4.0 * all * all)).sqrt() / width;
    // At 0 and 1 the formula gives 0 and 1 but for its last digits.
    let low = if found == 0.0 {
        0.0
    } else {
        (middle - reach).max(0.0)
    };
    let high = if found == all {
        1.0
    } else {
        (middle + reach).min(1.0)
    };
    [low, high]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_published_intervals() {
        // Newcombe 1998, table I, method 3 (from memory of the table).
        for (found, all, low, high) in [
            (81, 263, 0.2553, 0.3662),
            (15, 148, 0.0624, 0.1605),
            (0, 20, 0.0, 0.1611),
            (1, 29, 0.0061, 0.1718),
        ] {
            let [is_low, is_high] = wilson(found, all).expect("some");
            assert!((is_low - low).abs() < 5e-5 && (is_high - high).abs() < 5e-5);
        }
        assert_eq!(wilson(0, 0), None);
        assert_eq!(wilson(3, 3).expect("some")[1], 1.0);
    }
}
