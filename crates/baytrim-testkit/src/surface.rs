//! The true fuel need: smooth between the nodes, and not bilinear.

use crate::random::Dice;

/// A smooth hill or hole over (speed share, root of plate share).
#[derive(Debug, Clone, Copy, PartialEq)]
struct Bump {
    height: f64,
    centre: [f64; 2],
    width: [f64; 2],
}

impl Bump {
    fn at(&self, u: f64, w: f64) -> f64 {
        let a = (u - self.centre[0]) / self.width[0];
        let b = (w - self.centre[1]) / self.width[1];
        self.height * libm::exp(-0.5 * (a * a + b * b))
    }
}

/// Log of the fuel multiplier that the base table needs, as a function of speed and plate.
///
/// A sum of: an offset and a tilt, the camshaft's hill, waves of the exhaust along speed that grow
/// with the plate, reversion at small plate and low speed, a hole at part throttle, and some
/// bumps without a story. Coordinates: `u` = (rpm - first) / (last - first), `w` = sqrt(plate / 100).
#[derive(Debug, Clone, PartialEq)]
pub struct NeedSurface {
    rpm_first: f64,
    rpm_last: f64,
    offset: f64,
    tilt: [f64; 2],
    wave_height: f64,
    wave_periods: f64,
    wave_phase: f64,
    bumps: Vec<Bump>,
    scale: f64,
}

/// Bounds of a believable fuel need in log units: about -15 % and +25 %.
pub const NEED_LOG_RANGE: (f64, f64) = (-0.16, 0.22);

impl NeedSurface {
    /// Returns a surface whose root mean square over an even grid is `rms` in log units,
    /// or less where [`NEED_LOG_RANGE`] would not hold it.
    pub fn draw(dice: &mut Dice, rpm_range: (f64, f64), rms: f64) -> Self {
        let sign = |dice: &mut Dice| if dice.chance(0.5) { 1.0 } else { -1.0 };
        let mut bumps = vec![
            Bump {
                height: dice.uniform(0.05, 0.12),
                centre: [dice.uniform(0.4, 0.75), dice.uniform(0.7, 1.0)],
                width: [dice.uniform(0.12, 0.25), dice.uniform(0.25, 0.45)],
            },
            Bump {
                height: sign(dice) * dice.uniform(0.08, 0.2),
                centre: [dice.uniform(-0.05, 0.05), dice.uniform(0.0, 0.1)],
                width: [dice.uniform(0.12, 0.22), dice.uniform(0.14, 0.25)],
            },
            Bump {
                height: -dice.uniform(0.05, 0.13),
                centre: [dice.uniform(0.25, 0.65), dice.uniform(0.3, 0.6)],
                width: [dice.uniform(0.12, 0.22), dice.uniform(0.12, 0.2)],
            },
        ];
        for _ in 0..3 {
            bumps.push(Bump {
                height: 0.05 * dice.normal(),
                centre: [dice.uniform(0.0, 1.0), dice.uniform(0.0, 1.0)],
                width: [dice.uniform(0.12, 0.35), dice.uniform(0.15, 0.4)],
            });
        }
        let mut surface = Self {
            rpm_first: rpm_range.0,
            rpm_last: rpm_range.1,
            offset: dice.uniform(-0.03, 0.06),
            tilt: [dice.uniform(-0.05, 0.05), dice.uniform(-0.05, 0.05)],
            wave_height: dice.uniform(0.015, 0.04),
            wave_periods: dice.uniform(1.4, 2.4),
            wave_phase: dice.uniform(0.0, std::f64::consts::TAU),
            bumps,
            scale: 1.0,
        };
        surface.scale = surface.fitting_scale(rms);
        surface
    }

    /// Returns a surface that is `need` everywhere, for tests that want one thing at a time.
    pub fn flat(need: f64) -> Self {
        Self {
            rpm_first: 1000.0,
            rpm_last: 10_000.0,
            offset: need,
            tilt: [0.0; 2],
            wave_height: 0.0,
            wave_periods: 1.0,
            wave_phase: 0.0,
            bumps: Vec::new(),
            scale: 1.0,
        }
    }

    /// Returns another vehicle's surface of the same kind: all of it shifted with a standard deviation of `level`, and
    /// tilted and bent so that the shape differs with one of `shape`, log units.
    #[must_use]
    pub fn varied(&self, dice: &mut Dice, level: f64, shape: f64) -> Self {
        let mut other = self.clone();
        let own = 1.0 / self.scale.max(1e-6);
        other.offset += own * level * dice.normal();
        for tilt in &mut other.tilt {
            // A tilt of one has a root mean square of 0.29 over the range.
            *tilt += own * 1.7 * shape * dice.normal();
        }
        for _ in 0..4 {
            other.bumps.push(Bump {
                height: own * 1.2 * shape * dice.normal(),
                centre: [dice.uniform(0.0, 1.0), dice.uniform(0.0, 1.0)],
                width: [dice.uniform(0.15, 0.4), dice.uniform(0.15, 0.4)],
            });
        }
        other
    }

    /// Returns the surface with `need` added everywhere, log units.
    #[must_use]
    pub fn shifted(&self, need: f64) -> Self {
        let mut other = self.clone();
        other.offset += need / self.scale.max(1e-6);
        other
    }

    fn fitting_scale(&self, rms: f64) -> f64 {
        let grid: Vec<f64> = (0..=20)
            .flat_map(|i| (0..=20).map(move |j| (f64::from(i) / 20.0, f64::from(j) / 20.0)))
            .map(|(u, w)| self.shape(u, w))
            .collect();
        let mean_square = grid.iter().map(|x| x * x).sum::<f64>() / grid.len() as f64;
        let highest = grid.iter().copied().fold(1e-9, f64::max);
        let lowest = grid.iter().copied().fold(-1e-9, f64::min);
        (rms / libm::sqrt(mean_square))
            .min(NEED_LOG_RANGE.1 / highest)
            .min(NEED_LOG_RANGE.0 / lowest)
    }

    fn shape(&self, u: f64, w: f64) -> f64 {
        let wave_at = std::f64::consts::TAU * self.wave_periods * u + self.wave_phase;
        let wave = self.wave_height * libm::sin(wave_at) * w * libm::sqrt(w);
        let bumps: f64 = self.bumps.iter().map(|bump| bump.at(u, w)).sum();
        self.offset + self.tilt[0] * (u - 0.5) + self.tilt[1] * (w - 0.5) + wave + bumps
    }

    /// Returns the log fuel need at a point.
    pub fn at(&self, rpm: f64, plate_percent: f64) -> f64 {
        let u = (rpm - self.rpm_first) / (self.rpm_last - self.rpm_first);
        let w = libm::sqrt(plate_percent.clamp(0.0, 100.0) / 100.0);
        self.scale * self.shape(u, w)
    }
}

#[cfg(test)]
mod tests {
    use super::{NEED_LOG_RANGE, NeedSurface};
    use crate::random::{Dice, Purpose};

    /// Fuel needs would be beyond belief, or so small that any estimate looks good.
    #[test]
    fn needs_are_believable() {
        let mut sizes = Vec::new();
        for seed in 0..200 {
            let mut dice = Dice::new(seed, Purpose::Surface);
            let surface = NeedSurface::draw(&mut dice, (1000.0, 10_000.0), 0.09);
            let mut square = 0.0;
            for step in 0..441_i32 {
                let w = f64::from(step / 21) / 20.0;
                let need = surface.at(1000.0 + 450.0 * f64::from(step % 21), 100.0 * w * w);
                assert!(need >= NEED_LOG_RANGE.0 - 1e-9 && need <= NEED_LOG_RANGE.1 + 1e-9);
                square += need * need / 441.0;
            }
            sizes.push(libm::sqrt(square));
        }
        sizes.sort_by(f64::total_cmp);
        assert!(sizes[0] > 0.03, "the flattest has {}", sizes[0]);
        assert!(
            (0.06..0.0901).contains(&sizes[100]),
            "the middle one has {}",
            sizes[100]
        );
    }
}
