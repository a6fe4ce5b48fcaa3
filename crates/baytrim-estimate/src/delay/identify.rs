//! Finds the delay from the pull itself.
//!
//! The correction surface is fitted to what the gates accept, which depends little on the delay; then
//! cycles, gas volume and lag are moved until edges and quick movements are met best, by Gauss-Newton
//! steps on the robust likelihood with the physical prior. Delay and lag are moved together: a
//! shift alone is confidently wrong (Bjoerklund and Ljung 2003). What earlier pulls in the bay told comes in
//! afterwards, in place of the physical prior.

use baytrim_model::bay::{DelayBelief, DelayModel};
use baytrim_model::pull::DelayFound;
use nalgebra::{Matrix3, Vector3};

use super::scene::{Left, Place, Scene, Weighing, robust_sd};
use super::told::{Told, verdict};
use super::{CYCLES_SD, GAS_LOG_SD, LAG_LOG_SD};

/// Share of its likelihood that the residual is believed: neighbouring rows share errors of the surface,
/// the film and the flow model, which the whitening does not know.
const BELIEF: f64 = 0.02;
/// Steps of the numerical derivatives: cycles, ln(volume), ln(lag).
const DIFFERENCE: Place = [0.05, 0.05, 0.06];
/// Starts in ln(volume) about the prior, so that a tailpipe is not mistaken for a header.
const STARTS: [f64; 7] = [-1.2, -0.6, 0.0, 0.5, 1.0, 1.5, 2.0];
/// Rounds of Gauss-Newton steps.
const ROUNDS: usize = 6;
/// Share of the prior's standard deviations below which a step ends the search.
const STEP_MIN: f64 = 0.02;
/// Fewest usable rows.
const ROWS_MIN: usize = 100;

struct Search<'a> {
    scene: &'a Scene,
    prior: Place,
    prior_sd: Place,
    weighing: Weighing,
}

pub(super) fn place_of(model: &DelayModel) -> Place {
    [
        model.cycles,
        model.gas_volume_l.max(1e-3).ln(),
        model.lag_s.max(1e-3).ln(),
    ]
}

impl Search<'_> {
    fn left(&self, place: &Place) -> Left {
        self.scene.left_over(place, &self.weighing.weights)
    }

    fn prior_badness(&self, place: &Place) -> f64 {
        (0..3)
            .map(|part| {
                let away = (place[part] - self.prior[part]) / self.prior_sd[part];
                away * away
            })
            .sum()
    }

    fn total(&self, place: &Place, left: &Left) -> f64 {
        BELIEF * self.weighing.badness(left) + self.prior_badness(place)
    }

    /// Returns the weighted derivatives of the residuals as J'WJ and J'We, over the variance.
    fn slopes(&self, place: &Place, left: &Left) -> (Matrix3<f64>, Vector3<f64>) {
        let moved: [Left; 3] = std::array::from_fn(|part| {
            let mut moved = *place;
            moved[part] += DIFFERENCE[part];
            self.left(&moved)
        });
        let mut square = Matrix3::zeros();
        let mut right = Vector3::zeros();
        let mut cursor = [0; 3];
        for (&row, residual) in left.row.iter().zip(&left.residual) {
            let mut slope = Vector3::zeros();
            let mut complete = true;
            for part in 0..3 {
                let other = &moved[part];
                while cursor[part] < other.row.len() && other.row[cursor[part]] < row {
                    cursor[part] += 1;
                }
                match other.row.get(cursor[part]) {
                    Some(&same) if same == row => {
                        slope[part] = (other.residual[cursor[part]] - residual) / DIFFERENCE[part];
                    }
                    _ => complete = false,
                }
            }
            if complete {
                let weight = self.weighing.weights[row as usize];
                square += weight * slope * slope.transpose();
                right += weight * slope * *residual;
            }
        }
        let factor = BELIEF / (self.weighing.sd * self.weighing.sd);
        (square * factor, right * factor)
    }

    /// Returns the precision of the posterior at a place and the step to take from there.
    fn step(&self, place: &Place, left: &Left) -> (Matrix3<f64>, Vector3<f64>) {
        let (mut square, mut right) = self.slopes(place, left);
        for part in 0..3 {
            let precision = 1.0 / (self.prior_sd[part] * self.prior_sd[part]);
            square[(part, part)] += precision;
            right[part] += precision * (place[part] - self.prior[part]);
        }
        let step = square
            .cholesky()
            .map_or(Vector3::zeros(), |factor| factor.solve(&right));
        (square, -step)
    }

    /// Returns the best of the starts.
    fn first_place(&mut self) -> Place {
        let starts =
            STARTS.map(|start| bounded([self.prior[0], self.prior[1] + start, self.prior[2]]));
        let lefts = starts.map(|start| self.left(&start));
        let sds = lefts.iter().map(|left| robust_sd(&left.residual));
        self.weighing.sd = sds.fold(f64::INFINITY, f64::min);
        let mut place = self.prior;
        let mut best = f64::INFINITY;
        for (start, left) in starts.iter().zip(&lefts) {
            let total = self.total(start, left);
            if total < best {
                (best, place) = (total, *start);
            }
        }
        place
    }

    /// Returns whether a step changes nothing that anybody would notice.
    fn is_small(&self, step: &Vector3<f64>) -> bool {
        (0..3).all(|part| step[part].abs() < STEP_MIN * self.prior_sd[part])
    }

    /// Goes as far along `step` as it helps; none where it helps nowhere.
    fn better(&self, place: &Place, left: &Left, step: &Vector3<f64>) -> Option<Place> {
        let here = self.total(place, left);
        let mut share = 1.0;
        while share >= 0.1 {
            let tried = bounded(std::array::from_fn(|part| place[part] + share * step[part]));
            if self.total(&tried, &self.left(&tried)) < here {
                return Some(tried);
            }
            share *= 0.4;
        }
        None
    }
}

fn bounded(mut place: Place) -> Place {
    place[0] = place[0].clamp(0.2, 3.0);
    place[1] = place[1].clamp(0.02_f64.ln(), 20.0_f64.ln());
    place[2] = place[2].clamp(0.03_f64.ln(), 0.3_f64.ln());
    place
}

/// Finds the delay and the place that the pull alone tells; none when it has too few usable rows. `belief` is what
/// earlier pulls in the bay told; `start` is the place that an earlier search of the same pull found.
pub(super) fn identify(
    scene: &Scene,
    prior: &DelayModel,
    belief: Option<&DelayBelief>,
    start: Option<Place>,
) -> Option<(Place, DelayFound)> {
    let rows = scene.rows();
    let usable = rows.iter().filter(|row| row.phi.is_finite()).count();
    if usable < ROWS_MIN {
        return None;
    }
    let mut search = Search {
        scene,
        prior: place_of(prior),
        prior_sd: [CYCLES_SD, GAS_LOG_SD, LAG_LOG_SD],
        weighing: Weighing::even(rows.len()),
    };
    let mut place = start.unwrap_or_else(|| search.first_place());
    let mut precision = Matrix3::identity();
    for _ in 0..ROUNDS {
        let left = search.left(&place);
        search.weighing.renew(&left);
        let (square, step) = search.step(&place, &left);
        precision = square;
        if search.is_small(&step) {
            break;
        }
        match search.better(&place, &left, &step) {
            Some(better) => place = better,
            None => break,
        }
    }
    let own = Told {
        place,
        precision,
        prior: search.prior,
        prior_sd: search.prior_sd,
    };
    Some((place, verdict(rows, &own, belief)))
}
