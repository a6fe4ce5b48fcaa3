//! Gap and clock: the clock paused, or it stood still, went backwards or told no time.

use baytrim_model::gate::{GateName, GateSettings};

/// Row intervals that the usual interval is the median of.
const WINDOW: usize = 32;
/// A pause of so many usual intervals is a gap in a log that is slow throughout.
const SLOW_LOG_INTERVALS: f64 = 4.0;
/// Longest pause that is ever bridged, seconds.
const PAUSE_S_MAX: f64 = 10.0;

/// What the clock of a row says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct GapVerdict {
    /// The gate that refuses the row.
    pub(super) refused_by: Option<GateName>,
    /// Whether what came before says nothing about this row.
    pub(super) restarts: bool,
}

/// Watches the clock.
#[derive(Debug, Clone)]
pub(super) struct Gap {
    pause_s_max: f64,
    last_s: Option<f64>,
    intervals: Vec<f64>,
    next: usize,
    usual_s: f64,
}

impl Gap {
    pub(super) fn new(settings: &GateSettings) -> Self {
        Self {
            pause_s_max: settings.gap_s_max,
            last_s: None,
            intervals: Vec::with_capacity(WINDOW),
            next: 0,
            usual_s: 0.0,
        }
    }

    pub(super) fn check(&mut self, offset_s: f64) -> GapVerdict {
        let verdict = |refused_by, restarts| GapVerdict {
            refused_by,
            restarts,
        };
        if !offset_s.is_finite() {
            return verdict(Some(GateName::Clock), false);
        }
        let Some(last_s) = self.last_s else {
            self.last_s = Some(offset_s);
            return verdict(None, true);
        };
        let interval_s = offset_s - last_s;
        self.last_s = Some(offset_s);
        if interval_s <= 0.0 {
            return verdict(Some(GateName::Clock), interval_s < 0.0);
        }
        self.learn(interval_s);
        let pause_s_max = self
            .pause_s_max
            .max(SLOW_LOG_INTERVALS * self.usual_s)
            .min(PAUSE_S_MAX);
        let gap = interval_s > pause_s_max;
        verdict(gap.then_some(GateName::Gap), gap)
    }

    fn learn(&mut self, interval_s: f64) {
        if self.intervals.len() < WINDOW {
            self.intervals.push(interval_s);
        } else {
            self.intervals[self.next] = interval_s;
        }
        self.next = (self.next + 1) % WINDOW;
        if self.intervals.len() < 8 || self.next.is_multiple_of(16) {
            let mut sorted = self.intervals.clone();
            sorted.sort_by(f64::total_cmp);
            self.usual_s = sorted[sorted.len() / 2];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Gap;
    use baytrim_model::gate::{GateName, GateSettings};

    /// A gap that went unseen would smear one place's exhaust over another's.
    #[test]
    fn pauses_and_bad_clocks_are_refused() {
        let mut gap = Gap::new(&GateSettings::default());
        let times = [0.0, 0.1, 0.2, 0.9, 1.0, 1.0, 0.5, 0.6, f64::NAN, 0.7];
        let refused: Vec<_> = times
            .iter()
            .map(|&time| gap.check(time).refused_by)
            .collect();
        let (pause, clock) = (Some(GateName::Gap), Some(GateName::Clock));
        let wanted = [
            None, None, None, pause, None, clock, clock, None, clock, None,
        ];
        assert_eq!(refused, wanted);
    }

    /// A log that is slow throughout must not be refused whole.
    #[test]
    fn a_slow_log_is_judged_by_its_own_intervals() {
        let mut gap = Gap::new(&GateSettings::default());
        let refused = (0..40)
            .filter(|&row| gap.check(f64::from(row) * 1.0).refused_by.is_some())
            .count();
        assert_eq!(refused, 0);
        assert!(gap.check(45.0).refused_by.is_some());
    }
}
