//! What lambda is expected to be once a change is in force.

use super::normal::{TWO_SIDED_95, chance_below};
use super::wish::bounded_exp;

/// Lambda at one node under one table: log-normal about its centre.
#[derive(Debug, Clone, Copy)]
pub(super) struct Prediction {
    pub(super) target_lambda: f64,
    /// Fuel that the node needs less what the table gives, ln units: above 0 is leaner than target.
    pub(super) shortfall: f64,
    /// Standard error of the shortfall, sensor included.
    pub(super) error: f64,
}

impl Prediction {
    /// Returns the median of lambda.
    pub(super) fn lambda(&self) -> f64 {
        self.target_lambda * bounded_exp(self.shortfall)
    }

    /// Returns the lower and upper end of lambda's 95 % interval.
    pub(super) fn interval(&self) -> [f64; 2] {
        let half = TWO_SIDED_95 * self.error;
        [-half, half].map(|side| self.target_lambda * bounded_exp(self.shortfall + side))
    }

    /// Returns the chance that lambda exceeds `wall`.
    pub(super) fn chance_above(&self, wall: f64) -> f64 {
        let excess = self.shortfall + (self.target_lambda / wall).ln();
        if self.error > 0.0 {
            chance_below(excess / self.error)
        } else if excess > 0.0 {
            1.0
        } else {
            0.0
        }
    }
}

/// Returns the chance that lambda is leaner than `wall_lambda`, where `lambda` is expected with a standard
/// error in percent, sensor included.
pub fn chance_leaner(lambda: f64, wall_lambda: f64, standard_error_percent: f64) -> f64 {
    let prediction = Prediction {
        target_lambda: lambda,
        shortfall: 0.0,
        error: standard_error_percent / 100.0,
    };
    prediction.chance_above(wall_lambda)
}

#[cfg(test)]
mod tests {
    use super::{Prediction, chance_leaner};

    /// A risk or interval off by a sign would call a lean node safe.
    #[test]
    fn lean_shortfall_is_lean_lambda() {
        let lean = Prediction {
            target_lambda: 0.9,
            shortfall: 0.05,
            error: 0.02,
        };
        assert!((lean.lambda() - 0.946_143_986_738_421_7).abs() < 1e-12);
        let [low, high] = lean.interval();
        assert!((low - 0.9 * 0.010_800_720_309_198_92_f64.exp()).abs() < 1e-12);
        assert!((low * high - lean.lambda().powi(2)).abs() < 1e-12);
        // ln(0.9 e^0.05 / 0.92) = 0.028 021 is 1.401 standard errors: 0.9194 by any normal table.
        assert!((lean.chance_above(0.92) - 0.919_4).abs() < 1e-4);
        let same = chance_leaner(lean.lambda(), 0.92, 2.0);
        assert!((same - lean.chance_above(0.92)).abs() < 1e-12);
        let certain = Prediction { error: 0.0, ..lean };
        assert!(certain.chance_above(0.92) >= 1.0 && certain.chance_above(1.0) <= 0.0);
    }
}
