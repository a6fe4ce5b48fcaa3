//! Engine speed not steady: for those who log holds and want nothing else. Off unless asked for.

use std::collections::VecDeque;

use baytrim_model::gate::GateSettings;

use crate::row::Row;

/// Span over which the rate is taken, seconds: long against the ripple of an engine's speed.
const SPAN_S: f64 = 0.5;
/// Most rows that are remembered, whatever the logging rate.
const ROWS_MAX: usize = 1024;

/// Watches how fast engine speed changes.
#[derive(Debug, Clone)]
pub(super) struct RpmRate {
    rate_max: f64,
    recent: VecDeque<(f64, f64)>,
}

impl RpmRate {
    pub(super) fn new(settings: &GateSettings) -> Self {
        Self {
            rate_max: settings.rpm_rate_rpm_per_s_max,
            recent: VecDeque::new(),
        }
    }

    pub(super) fn restart(&mut self) {
        self.recent.clear();
    }

    pub(super) fn refuses(&mut self, row: &Row) -> bool {
        if self.rate_max <= 0.0 {
            return false;
        }
        let now_s = row.offset_s;
        self.recent.push_back((now_s, row.rpm));
        // The span's far end is the youngest row that is at least the span old.
        while self.recent.len() > ROWS_MAX
            || self
                .recent
                .get(1)
                .is_some_and(|next| now_s - next.0 >= SPAN_S)
        {
            self.recent.pop_front();
        }
        self.recent.front().is_some_and(|&(then_s, then_rpm)| {
            // A change within less than the span is judged as if it had taken the whole span.
            (row.rpm - then_rpm).abs() / (now_s - then_s).max(SPAN_S) > self.rate_max
        })
    }
}

#[cfg(test)]
mod tests {
    use super::RpmRate;
    use baytrim_model::gate::GateSettings;

    use crate::row::Row;

    fn refused_count(rate_max: f64, rpm_per_s: f64) -> usize {
        let settings = GateSettings {
            rpm_rate_rpm_per_s_max: rate_max,
            ..GateSettings::default()
        };
        let mut gate = RpmRate::new(&settings);
        (0..100)
            .map(|step| f64::from(step) * 0.05)
            .filter(|&offset_s| {
                gate.refuses(&Row {
                    offset_s,
                    rpm: 3000.0 + rpm_per_s * offset_s,
                    ..Row::EMPTY
                })
            })
            .count()
    }

    /// The rule would bite where nobody asked for it, or not where somebody did.
    #[test]
    fn only_who_asks_loses_sweeps() {
        assert_eq!(refused_count(0.0, 2000.0), 0);
        assert_eq!(refused_count(400.0, 300.0), 0);
        assert!(refused_count(400.0, 600.0) > 85);
    }
}
