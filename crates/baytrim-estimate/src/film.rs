//! What fuel on the port walls does to lambda while the fuel flow changes.
//!
//! X-tau model: of the injected flow F a share X lands on the wall, and the wall gives back its mass
//! over tau: m' = X F - m/tau, into the cylinder (1-X) F + m/tau. With q the flow F behind a
//! first-order lag tau, the mixture is lean by (F - into cylinder)/F = X (F - q)/F.
//! Each regressor is (F - q)/F for one tau; its coefficient is X (less what the engine's own
//! transient compensation takes off).
//! Source: Aquino, SAE 810494 (1981).

/// Number of time constants.
pub const FILM_STATES: usize = 2;

/// Number of regressors of a changing charge: one per time constant of the film; the quick one times load,
/// since less sticks to the wall, and leaves it sooner, the lower the pressure behind the plate; and the lead.
pub const FILM_TERMS: usize = FILM_STATES + 2;

/// Returns the regressors at a filling (share of a full cylinder) from those of each time constant and the lead.
pub fn with_load(lean: [f64; FILM_STATES], filling: f64, lead: f64) -> [f64; FILM_TERMS] {
    [
        lean[0],
        lean[1],
        lean[0] * 2.0 * (filling - 0.5).clamp(-0.5, 0.5),
        lead,
    ]
}

/// Time constant over which the charge's rate of change is taken, seconds: above the plate's rounding and
/// jitter, below all that matters of a sweep.
const RATE_S: f64 = 0.1;

/// What fuel that is metered before its air is known does to lambda while the charge changes.
///
/// The fuel of a charge follows the table as it was read some part of a cycle before the intake valve shuts.
/// With L cycles of lead, a cycle of c seconds and f the air of a charge, the mixture is lean by
/// L c d(ln f)/dt; the regressor is c d(ln f)/dt, its coefficient L. It follows from the definition; that the two
/// moments differ is in Guzzella and Onder, chapter 2.
#[derive(Debug, Clone, Default)]
pub struct Lead {
    lagged: Option<f64>,
    last: f64,
}

impl Lead {
    /// Forgets the past, as after a gap.
    pub fn restart(&mut self) {
        self.lagged = None;
    }

    /// Moves on by `step_s` to the charge `filling` of a cycle of `cycle_s` and returns the regressor.
    pub fn advance(&mut self, step_s: f64, filling: f64, cycle_s: f64) -> f64 {
        let now = filling.max(1e-3).ln();
        let lagged = match self.lagged {
            Some(lagged) => lag_step(lagged, self.last, now, step_s, RATE_S),
            None => now,
        };
        self.lagged = Some(lagged);
        self.last = now;
        (cycle_s * (now - lagged) / RATE_S).clamp(-1.0, 1.0)
    }
}

/// Time constants of the regressors in seconds: a quick and a slow warm film.
pub const FILM_TAU_S: [f64; FILM_STATES] = [0.25, 0.9];

/// The film's state, one lagged flow per time constant.
#[derive(Debug, Clone, Default)]
pub struct Film {
    lagged: Option<[f64; FILM_STATES]>,
    last_flow: f64,
}

impl Film {
    /// Forgets the past, as after a gap.
    pub fn restart(&mut self) {
        self.lagged = None;
    }

    /// Moves on by `step_s` to the flow `flow` and returns q/F of each term for the flow `nominal` that
    /// the table asks for: what the wall gives back, as a share of it.
    pub(crate) fn owed(&mut self, step_s: f64, flow: f64, nominal: f64) -> [f64; FILM_STATES] {
        self.advance(step_s, flow);
        match self.lagged {
            Some(lagged) if nominal > 0.0 => lagged.map(|state| (state / nominal).clamp(0.0, 3.0)),
            _ => [1.0; FILM_STATES],
        }
    }

    /// Moves on by `step_s` to the fuel flow `flow` (any unit) and returns the regressors.
    ///
    /// While no fuel flows the regressors are zero: there is no mixture to speak of.
    pub fn advance(&mut self, step_s: f64, flow: f64) -> [f64; FILM_STATES] {
        let Some(lagged) = self.lagged.as_mut() else {
            self.lagged = Some([flow; FILM_STATES]);
            self.last_flow = flow;
            return [0.0; FILM_STATES];
        };
        let mut lean = [0.0; FILM_STATES];
        for ((state, tau_s), lean) in lagged.iter_mut().zip(FILM_TAU_S).zip(&mut lean) {
            *state = lag_step(*state, self.last_flow, flow, step_s, tau_s);
            if flow > 0.0 {
                *lean = ((flow - *state) / flow).clamp(-2.0, 1.0);
            }
        }
        self.last_flow = flow;
        lean
    }
}

/// Returns a first-order lag's output after `step_s`, its input going straight from `from` to `to`.
pub fn lag_step(state: f64, from: f64, to: f64, step_s: f64, tau_s: f64) -> f64 {
    let (keep, early, late) = lag_weights(step_s, tau_s);
    keep * state + early * from + late * to
}

/// Returns the weights of the old output, the old input and the new input that make the new output
/// of a first-order lag when the input goes straight from old to new; they add up to one.
///
/// Closed form: with a = exp(-h/T), the output is a y + ((1-a)T/h - a) u0 + (1 - (1-a)T/h) u1.
pub fn lag_weights(step_s: f64, tau_s: f64) -> (f64, f64, f64) {
    if step_s <= 0.0 {
        return (1.0, 0.0, 0.0);
    }
    if tau_s <= 1e-6 {
        return (0.0, 0.0, 1.0);
    }
    let steps = step_s / tau_s;
    let gone = -(-steps).exp_m1();
    let (keep, ramp) = (1.0 - gone, gone / steps);
    (keep, ramp - keep, 1.0 - ramp)
}

#[cfg(test)]
mod tests {
    use super::{FILM_TAU_S, Film, lag_step};

    /// A lag that did not meet its closed form would misplace every footprint.
    #[test]
    fn a_lag_meets_its_closed_forms() {
        let (tau, mut state, mut time) = (0.08_f64, 0.0, 0.0);
        for step in 1..=50 {
            let step_s = if step % 3 == 0 { 0.017 } else { 0.01 };
            state = lag_step(state, 1.0, 1.0, step_s, tau);
            time += step_s;
            assert!((state - (1.0 - (-time / tau).exp())).abs() < 1e-12);
        }
        // A ramp of slope 1 is followed with the error tau (1 - exp(-t/tau)).
        let (mut state, mut time) = (0.0, 0.0_f64);
        for _ in 0..40 {
            state = lag_step(state, time, time + 0.02, 0.02, tau);
            time += 0.02;
            assert!((state - (time - tau * (1.0 - (-time / tau).exp()))).abs() < 1e-12);
        }
    }

    /// After a step of fuel by s the X-tau film is lean by X (1 - 1/s) exp(-t/tau).
    #[test]
    fn a_film_meets_its_closed_form() {
        let mut film = Film::default();
        film.advance(0.01, 1.0);
        film.advance(1e-9, 2.0);
        let mut time = 0.0;
        for _ in 0..50 {
            let lean = film.advance(0.01, 2.0);
            time += 0.01;
            for (lean, tau) in lean.iter().zip(FILM_TAU_S) {
                assert!((lean - 0.5 * (-time / tau).exp()).abs() < 1e-6);
            }
        }
    }
}
