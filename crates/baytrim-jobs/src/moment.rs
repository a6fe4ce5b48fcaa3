//! Moments and spans in words.

use baytrim_model::ids::UnixMillis;
use jiff::Timestamp;

/// Returns a moment to the second, in UTC: `2026-11-25 07:46:52 UTC`.
pub(crate) fn utc(at: UnixMillis) -> String {
    match Timestamp::from_millisecond(at.0) {
        Ok(stamp) => stamp.strftime("%Y-%m-%d %H:%M:%S UTC").to_string(),
        Err(_) => format!("{} ms after 1970", at.0),
    }
}

/// Returns a span in the largest unit that counts it without a rest.
pub(crate) fn span(seconds: u64) -> String {
    let units = [(86_400, "day"), (3600, "hour"), (60, "minute")];
    let unit = units
        .into_iter()
        .find(|(unit, _)| seconds.is_multiple_of(*unit));
    let (unit, name) = unit.filter(|_| seconds > 0).unwrap_or((1, "second"));
    match seconds / unit {
        1 => format!("1 {name}"),
        count => format!("{count} {name}s"),
    }
}

#[cfg(test)]
mod tests {
    use super::{span, utc};
    use baytrim_model::ids::UnixMillis;

    /// If this fails, a reviewer is told a wrong moment or a wrong span.
    #[test]
    fn moments_and_spans_are_told_as_people_write_them() {
        // By `date -u --date=@1795592812`.
        assert_eq!(
            utc(UnixMillis(1_795_592_812_000)),
            "2026-11-25 07:46:52 UTC"
        );
        assert_eq!(span(30 * 86_400), "30 days");
        assert_eq!(span(3600), "1 hour");
        assert_eq!(span(90), "90 seconds");
        assert_eq!(span(0), "0 seconds");
    }
}
