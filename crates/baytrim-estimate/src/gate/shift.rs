//! Shift cut: a gear is changed under load with ignition or fuel cut.
//!
//! Where changes are not flagged, engine speed tells them: nothing else makes it fall so far so
//! quickly, out of a rise or a hold, with the plate open. Lambda is not asked as well, because a cut of 60 ms may fall between
//! two rows, and its exhaust arrives when the row at which it was made has long been judged.

use std::collections::VecDeque;

use baytrim_model::gate::GateSettings;

use crate::row::Row;

use super::peaks::Peaks;

/// Seconds before the flag from which rows are refused: flags come late by a bus message or two.
const FLAG_LOOK_BACK_S: f64 = 0.05;
/// Seconds before a fall of engine speed from which rows are refused: torque goes before speed does.
const DROP_LOOK_BACK_S: f64 = 0.1;
/// Span within which the fall is looked for, seconds, with some room for the spacing of rows.
const SPAN_S: f64 = 0.22;
/// Plate opening throughout the span below which a fall is no more than a closed throttle, percent.
const OPEN_PERCENT_MIN: f64 = 5.0;
/// Most rows of a span that are remembered, whatever the logging rate.
const ROWS_MAX: usize = 512;

/// What the shift gate says of a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct ShiftVerdict {
    /// The row is refused.
    pub(super) refuses: bool,
    /// Where a shift just began: the time from which earlier rows are refused as well.
    pub(super) began_s: Option<f64>,
}

/// Watches the shift flag, or the engine speed where there is none.
#[derive(Debug, Clone)]
pub(super) struct Shift {
    after_s: f64,
    drop_share: f64,
    /// Times and engine speeds of the span.
    recent: VecDeque<(f64, f64)>,
    highest: Peaks,
    /// Of the span before it.
    before: Peaks,
    /// When the plate was last not open.
    shut_s: f64,
    shifting: bool,
    last_s: f64,
}

impl Shift {
    pub(super) fn new(settings: &GateSettings) -> Self {
        Self {
            after_s: settings.shift_s,
            drop_share: settings.shift_rpm_drop_percent / 100.0,
            recent: VecDeque::new(),
            highest: Peaks::default(),
            before: Peaks::default(),
            shut_s: f64::NEG_INFINITY,
            shifting: false,
            last_s: f64::NEG_INFINITY,
        }
    }

    pub(super) fn restart(&mut self) {
        self.recent.clear();
        self.highest.clear();
        self.before.clear();
        self.shut_s = f64::NEG_INFINITY;
        self.shifting = false;
        self.last_s = f64::NEG_INFINITY;
    }

    pub(super) fn check(&mut self, row: &Row) -> ShiftVerdict {
        let since_s = if row.shift_cut.is_nan() {
            self.fell_since(row)
                .map(|since_s| since_s - DROP_LOOK_BACK_S)
        } else {
            (row.shift_cut >= 0.5).then_some(row.offset_s - FLAG_LOOK_BACK_S)
        };
        let began_s = since_s.filter(|_| !self.shifting);
        self.shifting = since_s.is_some();
        if self.shifting {
            self.last_s = row.offset_s;
        }
        ShiftVerdict {
            refuses: row.offset_s - self.last_s <= self.after_s,
            began_s,
        }
    }

    /// Returns since when engine speed has fallen too far, if it has.
    fn fell_since(&mut self, row: &Row) -> Option<f64> {
        let now_s = row.offset_s;
        if row.plate_percent.is_nan() || row.plate_percent < OPEN_PERCENT_MIN {
            self.shut_s = now_s;
        }
        self.recent.push_back((now_s, row.rpm));
        self.highest.push(now_s, row.rpm);
        while let Some(&(then_s, rpm)) = self.recent.front() {
            if self.recent.len() <= ROWS_MAX && now_s - then_s <= SPAN_S {
                self.highest.forget_before(then_s);
                break;
            }
            self.recent.pop_front();
            self.before.push(then_s, rpm);
        }
        self.before.forget_before(now_s - 2.0 * SPAN_S);
        let highest = self.highest.largest()?;
        let before_rpm = self.before.largest().map_or(0.0, |(_, rpm)| rpm);
        let open = now_s - self.shut_s > SPAN_S;
        // A sweep down has been falling before; a gear change begins to.
        let falling = (1.0 - highest.1 / before_rpm.max(highest.1)).max(0.0);
        let fell = 1.0 - row.rpm / highest.1;
        (open && self.drop_share < 1.0 && fell - falling >= self.drop_share).then_some(highest.0)
    }
}

#[cfg(test)]
mod tests {
    use super::Shift;
    use baytrim_model::gate::GateSettings;

    use crate::row::Row;

    fn refused(rows: impl Iterator<Item = Row>) -> Vec<f64> {
        let mut gate = Shift::new(&GateSettings::default());
        rows.filter(|row| gate.check(row).refuses)
            .map(|row| row.offset_s)
            .collect()
    }

    fn pull(rpm: impl Fn(f64) -> f64, plate_percent: f64) -> impl Iterator<Item = Row> {
        (0..100).map(move |step| {
            let offset_s = f64::from(step) * 0.05;
            Row {
                offset_s,
                rpm: rpm(offset_s),
                plate_percent,
                ..Row::EMPTY
            }
        })
    }

    /// Exhaust of a gear change with the spark cut would be read as a lean mixture.
    #[test]
    fn a_gear_change_shows_in_engine_speed() {
        let change = |now_s: f64| 6000.0 - 900.0 * ((now_s - 2.0) / 0.12).clamp(0.0, 1.0);
        let times = refused(pull(change, 60.0));
        assert!((2.0..2.15).contains(&times[0]), "{times:?}");
        assert!((2.4..2.8).contains(&times[times.len() - 1]), "{times:?}");
        assert!(refused(pull(change, 2.0)).is_empty(), "plate shut");
    }

    /// Sweeps down and lifted throttles would lose their readings.
    #[test]
    fn a_brisk_sweep_down_is_no_gear_change() {
        let down = |now_s: f64| 9000.0 - 1600.0 * (now_s - 0.5).clamp(0.0, 4.0);
        assert!(refused(pull(down, 100.0)).is_empty());
        assert!(refused(pull(|now_s| 3000.0 - 300.0 * now_s, 60.0)).is_empty());
    }

    /// A flag in the log decides alone.
    #[test]
    fn a_flag_goes_before_behaviour() {
        let change = |now_s: f64| if now_s < 2.0 { 6000.0 } else { 5000.0 };
        let flagged = |flag: f64| {
            pull(change, 60.0).map(move |row| Row {
                shift_cut: if (3.0..3.1).contains(&row.offset_s) {
                    flag
                } else {
                    0.0
                },
                ..row
            })
        };
        assert!(refused(flagged(0.0)).is_empty());
        let times = refused(flagged(1.0));
        assert!(times[0] >= 2.99 && times.len() > 5);
    }
}
