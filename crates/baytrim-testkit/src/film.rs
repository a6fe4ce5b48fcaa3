//! Fuel on the port's wall: the X-tau model.
//!
//! Aquino, "Transient A/F control characteristics of the 5 liter central fuel injection engine",
//! SAE 810494 (1981): `d m_film/dt = X m_inj - m_film / tau`, `m_cyl = (1 - X) m_inj + m_film / tau`.

/// The film of one port, per unit of injected fuel.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct WallFilm {
    /// Fuel on the wall.
    pub mass: f64,
}

impl WallFilm {
    /// Returns a film in balance with `injected` fuel per cycle of `cycle_s`.
    pub fn settled(injected: f64, cycle_s: f64, wall_share: f64, tau_s: f64) -> Self {
        let leaves = 1.0 - libm::exp(-cycle_s / tau_s);
        // Before a cycle's evaporation the film holds X m / (1 - e^(-T/tau)).
        Self {
            mass: wall_share * injected / leaves,
        }
    }

    /// Returns the fuel that leaves the wall in the coming cycle.
    pub fn evaporating(&self, cycle_s: f64, tau_s: f64) -> f64 {
        self.mass * (1.0 - libm::exp(-cycle_s / tau_s))
    }

    /// Injects `injected` for one cycle and returns what reaches the cylinder.
    pub fn cycle(&mut self, injected: f64, cycle_s: f64, wall_share: f64, tau_s: f64) -> f64 {
        let evaporated = self.evaporating(cycle_s, tau_s);
        self.mass += wall_share * injected - evaporated;
        (1.0 - wall_share) * injected + evaporated
    }

    /// Returns what a controller injects that wants `wanted` in the cylinder and removes the share
    /// `compensation` (0 to 1) of the film's error.
    pub fn compensated(
        &self,
        wanted: f64,
        cycle_s: f64,
        wall_share: f64,
        tau_s: f64,
        compensation: f64,
    ) -> f64 {
        let exact = (wanted - self.evaporating(cycle_s, tau_s)) / (1.0 - wall_share);
        (wanted + compensation * (exact - wanted)).max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::WallFilm;

    /// Steady fuel would not all arrive, and every steady reading would be wrong.
    #[test]
    fn a_settled_film_passes_everything_on() {
        let mut film = WallFilm::settled(1.0, 0.04, 0.3, 0.5);
        for _ in 0..100 {
            assert!((film.cycle(1.0, 0.04, 0.3, 0.5) - 1.0).abs() < 1e-12);
        }
    }

    /// Tip-in would be leaner or richer than the X-tau model has it.
    ///
    /// Closed form of the model: a fuel step by a factor s makes lambda 1 / (1 - X (1 - 1/s)) at first:
    /// 1.176 for X = 0.3, s = 2; 1.111 for X = 0.2, s = 2; 1.333 for X = 0.5, s = 2.
    /// The excess falls under 1 % after 1.36 s (tau 0.5 s), 0.69 s (0.3 s) and 3.2 s (1 s).
    #[test]
    fn a_fuel_step_spikes_and_settles_as_published() {
        for (x, tau_s, spike, settled_s) in [
            (0.3, 0.5, 1.1765, 1.36),
            (0.2, 0.3, 1.1111, 0.69),
            (0.5, 1.0, 1.3333, 3.2),
        ] {
            let cycle_s = 0.002;
            let mut film = WallFilm::settled(1.0, cycle_s, x, tau_s);
            let first = 2.0 / film.cycle(2.0, cycle_s, x, tau_s);
            assert!((first - spike).abs() < 2e-3, "X {x}: {first}");
            let mut now_s = 0.0;
            while 2.0 / film.cycle(2.0, cycle_s, x, tau_s) > 1.01 {
                now_s += cycle_s;
            }
            assert!((now_s - settled_s).abs() < 0.03, "X {x}: {now_s} s");
        }
    }

    /// A controller that claims to remove all of the film's error must remove all of it.
    #[test]
    fn full_compensation_leaves_nothing() {
        let mut film = WallFilm::settled(1.0, 0.03, 0.25, 0.4);
        for wanted in [1.3, 1.3, 1.2, 1.2, 1.4] {
            let injected = film.compensated(wanted, 0.03, 0.25, 0.4, 1.0);
            assert!((film.cycle(injected, 0.03, 0.25, 0.4) - wanted).abs() < 1e-12);
        }
    }
}
