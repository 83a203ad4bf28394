//! Wilson's score interval of a share at 95% (Newcombe, R.G. 1998, Statistics in Medicine 17(8):857-872, method 3).

/// The 0.975 quantile of the standard normal distribution.
const Z: f64 = 1.959_963_984_540_054;

/// Lower and upper end of the interval of `found` of `all`, 0 to 1; `None` of nothing.
pub fn wilson(found: u32, all: u32) -> Option<[f64; 2]> {
    if all == 0 {
        return None;
    }
    let (count, share) = (f64::from(all), f64::from(found) / f64::from(all));
    let z2 = Z * Z;
    let width = 1.0 + z2 / count;
    let middle = (share + z2 / (2.0 * count)) / width;
    let reach = Z * (share * (1.0 - share) / count + z2 / (4.0 * count * count)).sqrt() / width;
    // At 0 and 1 the formula gives 0 and 1 but for its last digits.
    let low = if found == 0 {
        0.0
    } else {
        (middle - reach).max(0.0)
    };
    let high = if found == all {
        1.0
    } else {
        (middle + reach).min(1.0)
    };
    Some([low, high])
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
