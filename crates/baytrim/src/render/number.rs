//! Numbers as people read them.

/// Returns `value` with `decimals` digits after the point, never as minus zero.
pub(crate) fn fixed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.chars().all(|letter| letter == '0' || letter == '.') => rest.to_owned(),
        _ => text,
    }
}

/// Returns `value` with its sign, zero without one.
pub(crate) fn signed(value: f64, decimals: usize) -> String {
    let text = fixed(value, decimals);
    let is_zero = text.chars().all(|letter| letter == '0' || letter == '.');
    if value > 0.0 && !is_zero {
        format!("+{text}")
    } else {
        text
    }
}

/// Returns a breakpoint of an axis without needless digits.
pub(crate) fn breakpoint(value: f64) -> String {
    format!("{value}")
}

/// Returns the digits after the point, up to 4, that show all of `values` as they are stored.
pub(crate) fn decimals_of(values: impl Iterator<Item = f64>) -> usize {
    let needed = |value: f64| {
        let shows = |&decimals: &usize| {
            let scale = [1.0, 10.0, 100.0, 1000.0][decimals];
            ((value * scale).round() / scale - value).abs() < 1e-9 * (1.0 + value.abs())
        };
        (0..4).find(shows).unwrap_or(4)
    };
    values
        .filter(|value| value.is_finite())
        .map(needed)
        .max()
        .unwrap_or(0)
}

/// Returns `part` of `whole` in percent; 0 of nothing.
pub(crate) fn share_percent(part: f64, whole: f64) -> f64 {
    if whole > 0.0 {
        100.0 * part / whole
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::{decimals_of, fixed, share_percent, signed};

    /// A change of nothing would read as `-0.0`, as if fuel were taken away.
    #[test]
    fn zero_has_no_sign() {
        assert_eq!(signed(-0.02, 1), "0.0");
        assert_eq!(signed(0.02, 1), "0.0");
        assert_eq!(signed(2.0, 1), "+2.0");
        assert_eq!(signed(-2.0, 1), "-2.0");
        assert_eq!(fixed(-0.0, 2), "0.00");
    }

    /// Table values would be shown rounded, so that two that differ look the same.
    #[test]
    fn values_keep_the_digits_that_they_have() {
        assert_eq!(decimals_of([10.0, 12.0].into_iter()), 0);
        assert_eq!(decimals_of([10.0, 12.3].into_iter()), 1);
        assert_eq!(decimals_of([0.125].into_iter()), 3);
        assert_eq!(decimals_of([1.0 / 3.0].into_iter()), 4);
    }

    /// An empty pull would show a share that is no number.
    #[test]
    fn a_share_of_nothing_is_nothing() {
        assert!(share_percent(1.0, 0.0).abs() < f64::EPSILON);
        assert!((share_percent(1.0, 4.0) - 25.0).abs() < f64::EPSILON);
    }
}
