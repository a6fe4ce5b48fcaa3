//! Plate rate: the wall film has not settled since the plate moved.

use std::collections::VecDeque;

use baytrim_model::gate::GateSettings;

use crate::row::Row;

/// Span over which the rate is taken, seconds: long against the noise and the steps of a plate sensor.
const SPAN_S: f64 = 0.2;
/// Most rows that are remembered, whatever the logging rate.
const ROWS_MAX: usize = 1024;

/// Watches how fast the plate moves.
#[derive(Debug, Clone)]
pub(super) struct PlateRate {
    rate_max: f64,
    settle_s: f64,
    recent: VecDeque<(f64, f64)>,
    moved_s: f64,
}

impl PlateRate {
    pub(super) fn new(settings: &GateSettings) -> Self {
        Self {
            rate_max: settings.plate_rate_percent_per_s_max,
            settle_s: settings.settle_s,
            recent: VecDeque::new(),
            moved_s: f64::NEG_INFINITY,
        }
    }

    pub(super) fn restart(&mut self) {
        self.recent.clear();
        self.moved_s = f64::NEG_INFINITY;
    }

    pub(super) fn refuses(&mut self, row: &Row) -> bool {
        let now = (row.offset_s, row.plate_percent);
        self.recent.push_back(now);
        // The span's far end is the youngest row that is at least the span old.
        while self.recent.len() > ROWS_MAX
            || self
                .recent
                .get(1)
                .is_some_and(|next| now.0 - next.0 >= SPAN_S)
        {
            self.recent.pop_front();
        }
        if let Some(&(then_s, then_percent)) = self.recent.front() {
            let span_s = now.0 - then_s;
            // A change within less than the span is judged as if it had taken the whole span.
            let rate = (now.1 - then_percent).abs() / span_s.max(SPAN_S);
            if rate > self.rate_max {
                self.moved_s = now.0;
            }
        }
        now.0 - self.moved_s <= self.settle_s
    }
}

#[cfg(test)]
mod tests {
    use super::PlateRate;
    use baytrim_model::gate::GateSettings;

    use crate::row::Row;

    /// Readings of a filling wall film would be written into the steady table.
    #[test]
    fn a_moved_plate_refuses_until_it_settled() {
        let settings = GateSettings {
            plate_rate_percent_per_s_max: 10.0,
            settle_s: 1.5,
            ..GateSettings::default()
        };
        let mut gate = PlateRate::new(&settings);
        let mut refused = Vec::new();
        for step in 0..400 {
            let offset_s = f64::from(step) * 0.01;
            let plate_percent = if offset_s < 1.0 { 10.0 } else { 30.0 };
            let row = Row {
                offset_s,
                rpm: 3000.0,
                plate_percent,
                lambda: 1.0,
                ..Row::EMPTY
            };
            if gate.refuses(&row) {
                refused.push(offset_s);
            }
        }
        let (first, last) = (refused[0], refused[refused.len() - 1]);
        assert!((0.99..1.02).contains(&first), "{first}");
        assert!((2.6..2.75).contains(&last), "{last}");
    }
}
