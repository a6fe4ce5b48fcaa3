//! A plate that is stuck: it stands to the bit while what follows it, or leads it, moves.
//!
//! Engine speed is no witness: a plate that stands while it rises is a sweep.

use crate::row::Row;

use super::stuck::{Movement, Stuck, StuckVerdict};

/// Grip must have moved by so many percent.
const GRIP_PERCENT: f64 = 20.0;
/// Manifold over ambient pressure must have moved by so many percent of ambient, at one engine speed.
const PRESSURE_PERCENT: f64 = 20.0;
/// What counts as one engine speed, as a share.
const SAME_SPEED_SHARE: f64 = 0.03;
/// Time constant by which pressure is smoothed, seconds: it pulses with the strokes.
const PRESSURE_S: f64 = 0.5;

/// Watches the plate, with grip and manifold pressure for witnesses.
#[derive(Debug, Clone)]
pub(super) struct PlateStuck {
    by_grip: Stuck,
    by_pressure: Stuck,
    held: f64,
    held_rpm: f64,
    smoothed: f64,
    last_s: f64,
}

impl PlateStuck {
    pub(super) fn new(stuck_s: f64) -> Self {
        let witness = |percent| Movement {
            rpm_share: f64::INFINITY,
            plate_percent: percent,
        };
        Self {
            by_grip: Stuck::new(stuck_s, witness(GRIP_PERCENT)),
            by_pressure: Stuck::new(stuck_s, witness(PRESSURE_PERCENT)),
            held: f64::NAN,
            held_rpm: f64::NAN,
            smoothed: f64::NAN,
            last_s: f64::NAN,
        }
    }

    pub(super) fn restart(&mut self) {
        self.by_grip.restart();
        self.by_pressure.restart();
        self.held = f64::NAN;
        self.smoothed = f64::NAN;
    }

    pub(super) fn check(&mut self, row: &Row) -> StuckVerdict {
        let (now_s, plate) = (row.offset_s, row.plate_percent);
        let pressure = self.pressure(row);
        let mut verdict = StuckVerdict::default();
        // Without a witness nothing is to be known, and no row need wait for it.
        if row.grip_percent.is_finite() {
            verdict = self.by_grip.check(now_s, plate, row.rpm, row.grip_percent);
        }
        if pressure.is_finite() {
            let other = self.by_pressure.check(now_s, plate, row.rpm, pressure);
            if other.stuck && !verdict.stuck {
                verdict = other;
            }
        }
        // What has not moved since the log began is told of the log as a whole.
        if verdict.from_start {
            return StuckVerdict::default();
        }
        verdict
    }

    /// Returns pressure in percent of ambient, smoothed; none while engine speed is another than when the
    /// plate came to stand.
    fn pressure(&mut self, row: &Row) -> f64 {
        if row.plate_percent.to_bits() != self.held.to_bits() {
            self.held = row.plate_percent;
            self.held_rpm = row.rpm;
        }
        let now = 100.0 * row.pressure_ratio;
        if !now.is_finite() {
            return f64::NAN;
        }
        let step_s = row.offset_s - self.last_s;
        self.last_s = row.offset_s;
        self.smoothed = if self.smoothed.is_finite() && step_s > 0.0 {
            let share = 1.0 - (-step_s / PRESSURE_S).exp();
            self.smoothed + share * (now - self.smoothed)
        } else {
            now
        };
        let is_same_speed = (row.rpm / self.held_rpm - 1.0).abs() <= SAME_SPEED_SHARE;
        if is_same_speed {
            self.smoothed
        } else {
            f64::NAN
        }
    }
}

#[cfg(test)]
mod tests {
    use super::PlateStuck;

    use crate::row::Row;

    /// Times at which the plate is called stuck: it flickers for 5 s, then stands for 15.
    fn stuck_times(change: impl Fn(f64, Row) -> Row) -> Vec<f64> {
        let mut watch = PlateStuck::new(3.0);
        let rows = (0..400).map(|step| {
            let offset_s = f64::from(step) * 0.05;
            let flicker = if offset_s < 5.0 { 0.1 * offset_s } else { 0.0 };
            change(
                offset_s,
                Row {
                    offset_s,
                    rpm: 4000.0,
                    plate_percent: 30.0 + flicker,
                    ..Row::EMPTY
                },
            )
        });
        rows.filter(|row| watch.check(row).stuck)
            .map(|row| row.offset_s)
            .collect()
    }

    /// Readings of many openings would be written into one row of the table.
    #[test]
    fn a_plate_that_stands_while_its_witness_moves_is_stuck() {
        let swings = |now_s: f64| 40.0 + 20.0 * (now_s * 2.0).sin();
        let by_grip = stuck_times(|now_s, row| Row {
            grip_percent: swings(now_s),
            ..row
        });
        assert!((7.9..8.3).contains(&by_grip[0]) && by_grip.len() > 200);
        let by_pressure = stuck_times(|now_s, row| Row {
            pressure_ratio: swings(now_s * 0.4) / 50.0,
            ..row
        });
        assert!(
            (7.9..11.0).contains(&by_pressure[0]),
            "{:?}",
            by_pressure.first()
        );
    }

    /// Sweeps at a standing plate are the best that a dyno gives, and pressure pulses with the strokes.
    #[test]
    fn sweeps_and_pulsing_pressure_are_no_fault() {
        let sweep = stuck_times(|now_s, row| Row {
            rpm: 2000.0 + 400.0 * now_s,
            pressure_ratio: 0.9 - 0.02 * now_s,
            ..row
        });
        assert!(sweep.is_empty(), "{sweep:?}");
        let pulses = stuck_times(|now_s, row| Row {
            pressure_ratio: 0.7 + 0.15 * (now_s * 20.0 * 2.7).sin(),
            grip_percent: 30.0,
            ..row
        });
        assert!(pulses.is_empty(), "{pulses:?}");
        assert!(stuck_times(|_, row| row).is_empty(), "no witness");
    }
}
