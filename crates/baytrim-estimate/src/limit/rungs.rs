//! The values that a node of the table can hold, numbered from the one that it holds now.

use baytrim_model::table::TableContent;

/// Relative slack of every comparison with a limit, so that a limit of 10 % admits a factor of 1.1
/// in spite of its last bit.
pub(super) const SLACK: f64 = 1e-9;

/// A head closer than this to a stored value, in steps, is taken to be that value, so that every
/// move is of a size that the slack of the limits does not swallow.
const ON_STEP: f64 = 1e-3;

/// The values that one node can hold: its present one, and all multiples of the table's resolution.
///
/// Rung 0 is the present value, whether or not it is such a multiple; rung 1 is the next richer
/// multiple, rung -1 the next leaner one. A **factor** is fuel over the base table's fuel.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rungs {
    content: TableContent,
    base_fuel: f64,
    resolution: f64,
    head: f64,
    /// Multiple of the resolution that is rung 1.
    richer_step: f64,
    /// Multiple of the resolution that is rung -1.
    leaner_step: f64,
}

impl Rungs {
    pub(super) fn new(content: TableContent, resolution: f64, base: f64, head: f64) -> Self {
        let steps = head / resolution;
        Self {
            content,
            base_fuel: content.fuel(base),
            resolution,
            head,
            richer_step: (steps + ON_STEP).floor() + 1.0,
            leaner_step: (steps - ON_STEP).ceil() - 1.0,
        }
    }

    /// Returns the table value of a rung.
    pub(super) fn value(&self, rung: i64) -> f64 {
        match rung {
            0 => self.head,
            1.. => self.multiple(self.richer_step + (rung - 1) as f64),
            _ => self.multiple(self.leaner_step + (rung + 1) as f64),
        }
    }

    fn multiple(&self, steps: f64) -> f64 {
        multiple(self.resolution, steps)
    }

    /// Returns the fuel of a rung over the base table's fuel; 0 or less where there is none.
    pub(super) fn factor(&self, rung: i64) -> f64 {
        self.content.fuel(self.value(rung)) / self.base_fuel
    }

    /// Returns the highest rung whose factor does not exceed `factor_max`.
    pub(super) fn highest_within(&self, factor_max: f64) -> i64 {
        let most = factor_max + factor_max.abs() * SLACK;
        let mut rung = self.rung_near(factor_max);
        while self.factor(rung) > most {
            rung -= 1;
        }
        while self.factor(rung + 1) <= most {
            rung += 1;
        }
        rung
    }

    /// Returns the lowest rung whose factor is not below `factor_min`.
    pub(super) fn lowest_within(&self, factor_min: f64) -> i64 {
        let least = factor_min - factor_min.abs() * SLACK;
        let mut rung = self.rung_near(factor_min);
        while self.factor(rung) < least {
            rung += 1;
        }
        while self.factor(rung - 1) >= least {
            rung -= 1;
        }
        rung
    }

    /// Returns the rung whose factor is nearest to `exp(ln_factor)` by ratio; of two equally near,
    /// the one nearer to the present value.
    pub(super) fn nearest(&self, ln_factor: f64) -> i64 {
        let distance = |rung: i64| {
            let factor = self.factor(rung);
            if factor > 0.0 {
                (factor.ln() - ln_factor).abs()
            } else {
                f64::INFINITY
            }
        };
        let low = self.highest_within(ln_factor.exp());
        let (near, far) = if low >= 0 {
            (low, low + 1)
        } else {
            (low + 1, low)
        };
        if distance(far) < distance(near) - SLACK {
            far
        } else {
            near
        }
    }

    /// Returns a rung within two of the one at `factor`.
    #[expect(
        clippy::cast_possible_truncation,
        reason = "values below 1e7 in steps of 1e-6 or more are far below 2^63"
    )]
    fn rung_near(&self, factor: f64) -> i64 {
        let value = self.content.value(self.base_fuel * factor);
        let steps = (value / self.resolution).round();
        if steps >= self.richer_step {
            (steps - self.richer_step) as i64 + 1
        } else if steps <= self.leaner_step {
            (steps - self.leaner_step) as i64 - 1
        } else {
            0
        }
    }
}

/// Returns `steps` resolutions as the nearest number to what a person would write:
/// three steps of 0.1 are 0.3, which `3.0 * 0.1` is not.
fn multiple(resolution: f64, steps: f64) -> f64 {
    let per_unit = (1.0 / resolution).round();
    if per_unit >= 1.0 && (per_unit * resolution - 1.0).abs() < 1e-12 {
        steps / per_unit
    } else {
        steps * resolution
    }
}

/// Returns the value that a table can store at `share` of the way from `before` to `after`, or short of it by less
/// than one resolution.
pub(super) fn short_of(resolution: f64, before: f64, after: f64, share: f64) -> f64 {
    if share >= 1.0 {
        return after;
    }
    let steps = (before + share * (after - before)) / resolution;
    if after > before {
        multiple(resolution, (steps + ON_STEP).floor()).clamp(before, after)
    } else {
        multiple(resolution, (steps - ON_STEP).ceil() + 0.0).clamp(after, before)
    }
}

/// Returns the value that a table stores for `value`, where it is one that it can store.
pub(super) fn stored(resolution: f64, value: f64) -> Option<f64> {
    let steps = value / resolution;
    ((steps - steps.round()).abs() < ON_STEP).then(|| multiple(resolution, steps.round()))
}

#[cfg(test)]
mod tests {
    use super::Rungs;
    use baytrim_model::table::TableContent;

    /// A rung off the stored steps would be changed once more by the table's own rounding,
    /// after the limits were checked.
    #[test]
    fn rungs_are_multiples_and_the_head() {
        let rungs = Rungs::new(TableContent::Percent, 0.1, 0.0, 0.25);
        let values: Vec<f64> = (-3..=3).map(|rung| rungs.value(rung)).collect();
        assert_eq!(values, [0.0, 0.1, 0.2, 0.25, 0.3, 0.4, 0.5]);
        let rungs = Rungs::new(TableContent::Percent, 0.1, 0.0, 0.3);
        let values: Vec<f64> = (-2..=2).map(|rung| rungs.value(rung)).collect();
        assert_eq!(values, [0.1, 0.2, 0.3, 0.4, 0.5]);
        let rungs = Rungs::new(TableContent::VolumetricEfficiency, 0.25, 50.0, 50.0);
        assert!((rungs.value(-3) - 49.25).abs() < 1e-12);
    }

    /// A bound read one step off would break a limit, or leave a step unused.
    #[test]
    fn bounds_are_met_to_the_step() {
        let rungs = Rungs::new(TableContent::Percent, 0.1, 0.0, 0.25);
        assert_eq!(rungs.highest_within(1.1), 98);
        assert!((rungs.value(98) - 10.0).abs() < 1e-12);
        assert_eq!(rungs.highest_within(1.0024), -1);
        assert_eq!(rungs.lowest_within(1.0026), 1);
        assert_eq!(rungs.lowest_within(0.9), -103);
        assert_eq!(rungs.lowest_within(1.0025), 0);
    }

    /// The far rung of a tie would change a table for nothing.
    #[test]
    fn nearest_is_by_ratio_and_prefers_the_head() {
        let rungs = Rungs::new(TableContent::Factor, 0.1, 1.0, 1.0);
        assert_eq!(rungs.nearest(1.06_f64.ln()), 1);
        assert_eq!(rungs.nearest(1.04_f64.ln()), 0);
        assert_eq!(rungs.nearest((1.0_f64 * 1.1).sqrt().ln()), 0);
        assert_eq!(rungs.nearest((1.0_f64 * 0.9).sqrt().ln()), 0);
        assert_eq!(rungs.nearest(0.93_f64.ln()), -1);
        let coarse = Rungs::new(TableContent::Factor, 10.0, 1.0, 1.0);
        assert_eq!(coarse.nearest(-1.0), 0);
    }
}
