//! Numbers compared within a relative error.

/// Holds a value to another within an absolute tolerance.
#[track_caller]
pub fn assert_near(found: f64, expected: f64, tolerance: f64, what: &str) {
    let near = (found - expected).abs() <= tolerance;
    assert!(near, "{what}: {found}, not {expected} within {tolerance}");
}
