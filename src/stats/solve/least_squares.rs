//! A straight line through pairs of numbers by ordinary least squares.

/// A fitted line `y = intercept + slope·x`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Line {
    /// y at x = 0.
    pub intercept: f64,
    /// Change of y a unit of x.
    pub slope: f64,
    /// Standard error of the slope.
    pub slope_standard_error: f64,
    /// Share of the variance of y that the line explains; `None` if all y are equal.
    pub r_squared: Option<f64>,
}

/// The line through pairs of (x, y); `None` for fewer than three pairs, which always have a line and
/// never an error, or if all x are equal.
pub(crate) fn fit_line(pairs: &[(f64, f64)]) -> Option<Line> {
    let count = pairs.len() as f64;
    let mean = |value: fn(&(f64, f64)) -> f64| pairs.iter().map(value).sum::<f64>() / count;
    let (mean_x, mean_y) = (mean(|pair| pair.0), mean(|pair| pair.1));
    let products = |value: &dyn Fn(f64, f64) -> f64| -> f64 {
        let deviations = pairs.iter().map(|(x, y)| value(x - mean_x, y - mean_y));
        deviations.sum()
    };
    let (squares_x, squares_y) = (products(&|x, _| x * x), products(&|_, y| y * y));
    let slope = products(&|x, y| x * y) / squares_x;
    if pairs.len() < 3 || squares_x <= 0.0 || !slope.is_finite() {
        return None;
    }
    let left = products(&|x, y| (y - slope * x).powi(2));
    Some(Line {
        intercept: mean_y - slope * mean_x,
        slope,
        slope_standard_error: (left / (count - 2.0) / squares_x).sqrt(),
        r_squared: (squares_y > 0.0).then(|| 1.0 - left / squares_y),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_by_hand() {
        // Mean x 2, mean y 3; Σxx 2, Σxy 3, Σyy 14/3 + …: y 1, 4, 4: deviations −2, 1, 1.
        let line = fit_line(&[(1.0, 1.0), (2.0, 4.0), (3.0, 4.0)]).expect("three different x");
        assert_eq!((line.slope, line.intercept), (1.5, 0.0));
        // Residuals −0.5, 1, −0.5: 1.5 left of 6.
        assert_eq!(line.r_squared, Some(0.75));
        assert!((line.slope_standard_error - 0.75f64.sqrt()).abs() < 1e-15);
    }

    #[test]
    fn what_has_no_line() {
        assert_eq!(fit_line(&[]), None);
        assert_eq!(fit_line(&[(1.0, 1.0), (2.0, 2.0)]), None);
        assert_eq!(fit_line(&[(1.0, 1.0), (1.0, 2.0), (1.0, 3.0)]), None);
        assert_eq!(fit_line(&[(1.0, f64::NAN), (2.0, 2.0), (3.0, 3.0)]), None);
        let level = fit_line(&[(1.0, 5.0), (2.0, 5.0), (3.0, 5.0)]).expect("three different x");
        assert_eq!((level.slope, level.r_squared), (0.0, None));
    }
}
