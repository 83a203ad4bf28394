//! How figures are shown: the one place that rounds a number for readers, and counts with their nouns.

/// The ends of an interval at 0 or 1 come out a rounding error away from them.
const NOISE: f64 = 1e-12;

/// How a number is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Form {
    /// Two decimals, none from 100 on.
    Pressure,
    /// A share as a whole per cent, without the sign.
    Percent,
}

/// The one rounding for display. A value never crosses a mark that matters by being rounded: one
/// below threshold shows as `<1.00`, one above 0 never as 0, one below all never as 100.
pub(crate) fn display_number(value: f64, form: Form) -> String {
    match form {
        Form::Percent if (NOISE..0.005).contains(&value) => "<1".to_owned(),
        Form::Percent if (0.995..1.0 - NOISE).contains(&value) => ">99".to_owned(),
        Form::Percent => format!("{:.0}", (value * 100.0).clamp(0.0, 100.0)),
        Form::Pressure if value > 0.0 && value < 0.005 => "<0.01".to_owned(),
        Form::Pressure if (0.995..1.0).contains(&value) => "<1.00".to_owned(),
        Form::Pressure if value >= 100.0 => format!("{value:.0}"),
        Form::Pressure => format!("{value:.2}"),
    }
}

/// A count with its noun: `1 county`, `2 counties`, `0 counties`.
pub(crate) fn count_of(count: usize, one: &str, several: &str) -> String {
    let noun = if count == 1 { one } else { several };
    format!("{count} {noun}")
}

/// `a`, `a and b`, `a, b and c`.
pub(crate) fn join_with_and(parts: &[String]) -> Option<String> {
    match parts {
        [] => None,
        [one] => Some(one.clone()),
        [first @ .., last] => Some(format!("{} and {last}", first.join(", "))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounding_never_carries_a_number_over_a_mark_that_matters() {
        let pressure = |value| display_number(value, Form::Pressure);
        assert_eq!(pressure(0.0), "0.00");
        assert_eq!(pressure(1e-9), "<0.01");
        assert_eq!(pressure(0.994_9), "0.99");
        assert_eq!(pressure(0.995), "<1.00");
        assert_eq!(pressure(0.999_999_999_9), "<1.00");
        assert_eq!(pressure(1.0), "1.00");
        assert_eq!(pressure(99.994), "99.99");
        assert_eq!(pressure(1234.5), "1234");
        let percent = |value| display_number(value, Form::Percent);
        assert_eq!(percent(0.0), "0");
        assert_eq!(percent(1e-17), "0");
        assert_eq!(percent(0.004), "<1");
        assert_eq!(percent(0.5714), "57");
        assert_eq!(percent(0.997), ">99");
        assert_eq!(percent(1.0), "100");
        // A bound of an interval may be off by a rounding error.
        assert_eq!(percent(-1e-17), "0");
        assert_eq!(percent(1.000_000_000_000_000_2), "100");
    }

    #[test]
    fn a_list_is_joined_as_people_write_it() {
        let join = |parts: &[&str]| {
            let parts: Vec<String> = parts.iter().map(|part| part.to_string()).collect();
            join_with_and(&parts)
        };
        assert_eq!(join(&[]), None);
        assert_eq!(join(&["a"]).as_deref(), Some("a"));
        assert_eq!(join(&["a", "b"]).as_deref(), Some("a and b"));
        assert_eq!(join(&["a", "b", "c"]).as_deref(), Some("a, b and c"));
    }
}
