//! Moments.

use baytrim_model::ids::UnixMillis;
use prost_types::Timestamp;

/// Returns a moment as the wire has it.
///
/// # Panics
/// Never: the nanoseconds of a second fit.
pub fn timestamp(at: UnixMillis) -> Timestamp {
    let nanos = at.0.rem_euclid(1000) * 1_000_000;
    Timestamp {
        seconds: at.0.div_euclid(1000),
        nanos: i32::try_from(nanos).expect("below a thousand million"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// If this fails, times on the wire are off, most likely before 1970.
    #[test]
    fn milliseconds_become_seconds_and_nanoseconds() {
        let at = |millis| {
            let stamp = timestamp(UnixMillis(millis));
            (stamp.seconds, stamp.nanos)
        };
        assert_eq!(at(1_764_000_000_123), (1_764_000_000, 123_000_000));
        assert_eq!(at(-1), (-1, 999_000_000));
    }
}
