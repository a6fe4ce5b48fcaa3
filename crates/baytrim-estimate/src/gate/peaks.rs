//! The largest of the values that came last, whatever their number, at a few steps a value.

use std::collections::VecDeque;

/// Values that may still become the largest, oldest first: each is larger than all that came after it, or equal.
#[derive(Debug, Clone, Default)]
pub(super) struct Peaks {
    /// (when, value).
    falling: VecDeque<(f64, f64)>,
}

impl Peaks {
    /// Takes in a value that came after all others; one that is no number is passed over.
    pub(super) fn push(&mut self, at: f64, value: f64) {
        if value.is_nan() {
            return;
        }
        while self.falling.back().is_some_and(|&(_, last)| last < value) {
            self.falling.pop_back();
        }
        self.falling.push_back((at, value));
    }

    /// Forgets what came before `from`.
    pub(super) fn forget_before(&mut self, from: f64) {
        while self.falling.front().is_some_and(|&(at, _)| at < from) {
            self.falling.pop_front();
        }
    }

    /// Returns the largest value with when it came, the first of equal ones.
    pub(super) fn largest(&self) -> Option<(f64, f64)> {
        self.falling.front().copied()
    }

    pub(super) fn clear(&mut self) {
        self.falling.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::Peaks;

    /// If this fails, a gear change is missed or a sound channel called stuck: held against a look at every value.
    #[test]
    fn the_largest_is_the_largest() {
        let values: Vec<f64> = (0..500_u64)
            .map(|step| match step * step * 31 % 17 {
                16 => f64::NAN,
                value => value as f64,
            })
            .collect();
        for length in [1, 5, 40] {
            let mut peaks = Peaks::default();
            for (step, &value) in values.iter().enumerate() {
                let first = (step + 1).saturating_sub(length);
                peaks.push(step as f64, value);
                peaks.forget_before(first as f64);
                let mut wanted = None;
                for (place, &value) in values.iter().enumerate().take(step + 1).skip(first) {
                    let is_larger = wanted.is_none_or(|(_, largest)| value > largest);
                    if !value.is_nan() && is_larger {
                        wanted = Some((place as f64, value));
                    }
                }
                assert_eq!(peaks.largest(), wanted, "{length} values at {step}");
            }
            peaks.clear();
            assert_eq!(peaks.largest(), None);
        }
    }
}
