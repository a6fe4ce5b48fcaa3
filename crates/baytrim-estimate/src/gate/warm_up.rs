//! Warm-up: the coolant is below the temperature from which the engine counts as warm, or not far
//! above it and still rising quickly.

use std::collections::VecDeque;

use baytrim_model::gate::GateSettings;

use crate::row::Row;

/// Span over which the rise is taken, seconds: long against the steps of a coolant reading.
const SPAN_S: f64 = 20.0;
/// Least span from which a rise is told, seconds.
const SPAN_S_MIN: f64 = 10.0;
/// Degrees above `coolant_c_min` within which a quick rise is warm-up; above, it is load.
const WARMING_C: f64 = 15.0;
/// Seconds between the readings that are remembered.
const STEP_S: f64 = 0.5;

/// Watches the coolant temperature.
#[derive(Debug, Clone)]
pub(super) struct WarmUp {
    coolant_c_min: f64,
    rise_c_per_min_max: f64,
    recent: VecDeque<(f64, f64)>,
}

impl WarmUp {
    pub(super) fn new(settings: &GateSettings) -> Self {
        Self {
            coolant_c_min: settings.coolant_c_min,
            rise_c_per_min_max: settings.coolant_rise_c_per_min_max,
            recent: VecDeque::new(),
        }
    }

    pub(super) fn restart(&mut self) {
        self.recent.clear();
    }

    pub(super) fn refuses(&mut self, row: &Row) -> bool {
        let (now_s, coolant_c) = (row.offset_s, row.coolant_c);
        if !coolant_c.is_finite() || !now_s.is_finite() {
            return false;
        }
        if self
            .recent
            .back()
            .is_none_or(|last| now_s - last.0 >= STEP_S)
        {
            self.recent.push_back((now_s, coolant_c));
        }
        while self
            .recent
            .front()
            .is_some_and(|first| now_s - first.0 > SPAN_S)
        {
            self.recent.pop_front();
        }
        let rises = self.recent.front().is_some_and(|&(then_s, then_c)| {
            let span_s = now_s - then_s;
            span_s >= SPAN_S_MIN && (coolant_c - then_c) / span_s * 60.0 > self.rise_c_per_min_max
        });
        let may_warm_up = coolant_c < self.coolant_c_min + WARMING_C;
        coolant_c < self.coolant_c_min || may_warm_up && rises
    }
}

#[cfg(test)]
mod tests {
    use super::WarmUp;
    use baytrim_model::gate::GateSettings;

    use crate::row::Row;

    /// Temperatures from which readings are accepted, at a steady rise.
    fn accepted_from_c(start_c: f64, rise_c_per_min: f64) -> f64 {
        let mut gate = WarmUp::new(&GateSettings::default());
        (0..6000)
            .map(|step| {
                let offset_s = f64::from(step) * 0.1;
                Row {
                    offset_s,
                    coolant_c: (start_c + rise_c_per_min * offset_s / 60.0).round(),
                    ..Row::EMPTY
                }
            })
            .filter(|row| !gate.refuses(row))
            .map(|row| row.coolant_c)
            .next()
            .unwrap_or(f64::INFINITY)
    }

    /// A cold engine's enrichment, or its wet walls, would be written into the table.
    #[test]
    fn cold_engines_and_those_that_warm_quickly_are_refused() {
        assert!((accepted_from_c(40.0, 3.0) - 70.0).abs() < 1.1, "slow");
        assert!((accepted_from_c(40.0, 20.0) - 85.0).abs() < 1.1, "quick");
    }

    /// A hot engine that a long pull heats further would be taken for a cold one.
    #[test]
    fn load_is_no_warm_up() {
        assert!((accepted_from_c(86.0, 30.0) - 86.0).abs() < 1e-9);
        let mut gate = WarmUp::new(&GateSettings::default());
        assert!(!gate.refuses(&Row::EMPTY), "not logged");
    }
}
