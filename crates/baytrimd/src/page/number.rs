//! Numbers as people read them.

/// Returns `value` with its sign always, minus as the typographic one; what rounds to nothing has no sign.
pub(crate) fn signed(value: f64, decimals: usize) -> String {
    let size = format!("{:.decimals$}", value.abs());
    let is_zero = size.bytes().all(|byte| matches!(byte, b'0' | b'.'));
    match value {
        _ if is_zero => size,
        value if value < 0.0 => format!("\u{2212}{size}"),
        _ => format!("+{size}"),
    }
}

/// Returns `value` with that many decimals, minus as the typographic one.
pub(crate) fn fixed(value: f64, decimals: usize) -> String {
    let text = signed(value, decimals);
    text.strip_prefix('+').map_or(text.clone(), str::to_owned)
}

/// Returns a breakpoint without decimals that say nothing.
pub(super) fn breakpoint(value: f64) -> String {
    format!("{value}")
}

/// Returns the number of decimals that a table of that resolution shows.
pub(crate) fn decimals(resolution: f64) -> usize {
    (0..6)
        .find(|&decimals| {
            let scaled = resolution * 10_f64.powi(decimals);
            (scaled - scaled.round()).abs() < 1e-6
        })
        .map_or(6, |decimals| usize::try_from(decimals).unwrap_or(6))
}

/// Returns a length of time in the largest units that say something.
pub(crate) fn seconds(value: f64) -> String {
    if value < 99.95 {
        return format!("{value:.1} s");
    }
    let whole = value.round();
    let (minutes, rest) = ((whole / 60.0).floor(), whole % 60.0);
    format!("{minutes:.0} min {rest:.0} s")
}

/// Returns a number of things, in words that fit the number.
pub(crate) fn counted(count: usize, thing: &str) -> String {
    match count {
        1 => format!("1 {thing}"),
        _ => format!("{count} {thing}s"),
    }
}

#[cfg(test)]
mod tests {
    use super::{decimals, fixed, seconds, signed};

    /// If this fails, a change is shown without its sign, or nothing looks like something.
    #[test]
    fn signs_are_always_there() {
        assert_eq!(signed(5.94, 1), "+5.9");
        assert_eq!(signed(-5.94, 1), "\u{2212}5.9");
        assert_eq!(signed(-0.04, 1), "0.0");
        assert_eq!(fixed(-1.0, 2), "\u{2212}1.00");
        assert_eq!(fixed(4.8123, 3), "4.812");
    }

    /// If this fails, table values are shown coarser or finer than the table stores them.
    #[test]
    fn decimals_follow_the_resolution() {
        assert_eq!(decimals(0.1), 1);
        assert_eq!(decimals(0.001), 3);
        assert_eq!(decimals(1.0), 0);
        assert_eq!(decimals(0.25), 2);
        assert_eq!(decimals(1.0 / 3.0), 6);
    }

    /// If this fails, a pull of ten minutes is told in hundreds of seconds.
    #[test]
    fn long_times_are_told_in_minutes() {
        assert_eq!(seconds(12.34), "12.3 s");
        assert_eq!(seconds(599.9), "10 min 0 s");
    }
}
