//! Stuck channels: one that holds a value for far longer than it is used to, while others move.
//!
//! A lambda that stands from the start of the log is a sensor that heats up.

use super::peaks::Peaks;

/// Holds that a channel's habit is made of.
const HABIT: f64 = 64.0;
/// A channel is stuck when it holds for this many times the longest of its usual holds.
const HABIT_FACTOR: f64 = 4.0;

/// How far speed and plate must have moved during a hold for the channel to be stuck.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Movement {
    /// As a share of engine speed; infinite where it does not count.
    pub(super) rpm_share: f64,
    /// In percent of plate.
    pub(super) plate_percent: f64,
}

/// What the watch says of a row.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct StuckVerdict {
    /// The channel is stuck.
    pub(super) stuck: bool,
    /// It has not moved yet since the log began.
    pub(super) from_start: bool,
    /// Where it just turned out to be: the time from which it is.
    pub(super) began_s: Option<f64>,
    /// It may be: rows from this time on are not judged yet.
    pub(super) doubt_since_s: Option<f64>,
}

/// Watches one channel.
#[derive(Debug, Clone)]
pub(super) struct Stuck {
    limit_s: f64,
    movement: Movement,
    held: Option<f64>,
    has_moved: bool,
    since_s: f64,
    last_s: f64,
    /// The longest of the last holds, by their number.
    habit: Peaks,
    hold_count: f64,
    rpm: (f64, f64),
    plate: (f64, f64),
    is_found: bool,
}

fn widen(range: &mut (f64, f64), value: f64) {
    // A missing value is no movement.
    *range = (range.0.min(value), range.1.max(value));
}

impl Stuck {
    pub(super) fn new(stuck_s: f64, movement: Movement) -> Self {
        Self {
            limit_s: stuck_s,
            movement,
            held: None,
            has_moved: false,
            since_s: f64::NAN,
            last_s: f64::NAN,
            habit: Peaks::default(),
            hold_count: 0.0,
            rpm: (f64::INFINITY, f64::NEG_INFINITY),
            plate: (f64::INFINITY, f64::NEG_INFINITY),
            is_found: false,
        }
    }

    /// Begins a new hold at the next row; the habit stays known.
    pub(super) fn restart(&mut self) {
        self.held = None;
        self.is_found = false;
    }

    /// Takes the channel's value at a time in, with engine speed and plate beside it.
    pub(super) fn check(&mut self, now_s: f64, value: f64, rpm: f64, plate: f64) -> StuckVerdict {
        // Before the first reading 'no reading' is a value that is held; afterwards a hole is a hole.
        if value.is_nan() && (self.has_moved || self.held.is_some_and(|held| !held.is_nan())) {
            return StuckVerdict::default();
        }
        if self
            .held
            .is_none_or(|held| held.to_bits() != value.to_bits())
        {
            self.begin(now_s, value);
        }
        self.last_s = now_s;
        widen(&mut self.rpm, rpm);
        widen(&mut self.plate, plate);
        let length_s = now_s - self.since_s;
        let usual_s = self.habit.largest().map_or(0.0, |(_, longest_s)| longest_s);
        let limit_s = self.limit_s.max(HABIT_FACTOR * usual_s);
        let stuck = length_s >= limit_s && self.others_moved();
        let began_s = (stuck && !self.is_found).then_some(self.since_s);
        self.is_found = stuck;
        StuckVerdict {
            stuck,
            from_start: !self.has_moved,
            began_s,
            doubt_since_s: (length_s < limit_s && length_s > 2.0 * usual_s).then_some(self.since_s),
        }
    }

    fn begin(&mut self, now_s: f64, value: f64) {
        if let Some(held) = self.held {
            self.has_moved |= !held.is_nan();
            if !self.is_found && !held.is_nan() {
                self.learn(self.last_s - self.since_s);
            }
        }
        self.held = Some(value);
        self.since_s = now_s;
        self.rpm = (f64::INFINITY, f64::NEG_INFINITY);
        self.plate = (f64::INFINITY, f64::NEG_INFINITY);
        self.is_found = false;
    }

    /// Takes a hold into the habit, in place of the oldest.
    fn learn(&mut self, hold_s: f64) {
        self.hold_count += 1.0;
        self.habit.push(self.hold_count, hold_s);
        self.habit.forget_before(self.hold_count - HABIT + 1.0);
    }

    fn others_moved(&self) -> bool {
        let rpm_share = (self.rpm.1 - self.rpm.0) / self.rpm.1;
        if !self.has_moved {
            // No habit is known yet; readings of a sensor that works flicker as engine speed does.
            return rpm_share > 0.0;
        }
        rpm_share >= self.movement.rpm_share
            || self.plate.1 - self.plate.0 >= self.movement.plate_percent
    }
}

#[cfg(test)]
mod tests {
    use super::{Movement, Stuck};

    const MOVEMENT: Movement = Movement {
        rpm_share: 0.05,
        plate_percent: 5.0,
    };

    /// Times at which the watch calls the channel stuck, over 20 s at 20 Hz.
    fn stuck_times(
        value: impl Fn(f64) -> f64,
        rpm: impl Fn(f64) -> f64,
    ) -> (Vec<f64>, Option<f64>, bool) {
        let mut watch = Stuck::new(3.0, MOVEMENT);
        let (mut times, mut began_s, mut from_start) = (Vec::new(), None, false);
        for step in 0..400 {
            let now_s = f64::from(step) * 0.05;
            let verdict = watch.check(now_s, value(now_s), rpm(now_s), 50.0);
            if verdict.stuck {
                times.push(now_s);
                from_start |= verdict.from_start;
            }
            began_s = began_s.or(verdict.began_s);
        }
        (times, began_s, from_start)
    }

    /// A dead channel's last value would speak for every node that the engine passes.
    #[test]
    fn a_channel_that_stands_while_the_engine_moves_is_stuck() {
        let dies = |now_s: f64| {
            if now_s < 5.0 {
                0.9 + 0.01 * now_s
            } else {
                0.95
            }
        };
        let (times, began_s, from_start) = stuck_times(dies, |now_s| 3000.0 + 200.0 * now_s);
        assert!((times[0] - 8.0).abs() < 0.06 && times.len() > 230);
        assert!(began_s.is_some_and(|since_s| (since_s - 5.0).abs() < 0.01) && !from_start);
    }

    /// Steady holds, and meters that speak seldom, would be refused.
    #[test]
    fn steady_engines_and_slow_meters_are_not() {
        let dies = |now_s: f64| {
            if now_s < 5.0 {
                0.9 + 0.01 * now_s
            } else {
                0.95
            }
        };
        assert!(stuck_times(dies, |_| 3000.0).0.is_empty(), "nothing moves");
        let seldom = |now_s: f64| 0.9 + 0.01 * (now_s / 2.0).floor();
        let (times, ..) = stuck_times(seldom, |now_s| 3000.0 + 200.0 * now_s);
        assert!(times.is_empty(), "{times:?}");
    }

    /// A cold sensor's resting value would be evidence.
    #[test]
    fn a_sensor_that_stands_from_the_start_heats_up() {
        let flicker = |now_s: f64| 1500.0 + (now_s * 40.0).sin();
        for resting in [1.0, f64::NAN] {
            let heats = |now_s: f64| {
                if now_s < 8.0 {
                    resting
                } else {
                    0.9 + 0.001 * now_s
                }
            };
            let (times, began_s, from_start) = stuck_times(heats, flicker);
            assert!(from_start && began_s == Some(0.0));
            assert!((times[times.len() - 1] - 7.95).abs() < 0.06);
        }
    }
}
