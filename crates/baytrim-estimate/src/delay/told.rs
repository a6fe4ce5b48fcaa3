//! Says what a pull told of its delay, and joins it with what earlier pulls in the bay told.
//!
//! Near its end the search is a parabola: with P its precision, P0 that of the physical prior at x0, the pull alone
//! says D = P - P0 at D m = P x - P0 x0. With the bay's belief (precision B at b) in the prior's stead, the delay is
//! (D + B)^-1 (D m + B b).

use baytrim_model::bay::{DelayBelief, DelayModel};
use baytrim_model::pull::{DelayFound, DelaySource, TypicalDelay};
use nalgebra::{Matrix3, Vector3};

use super::identify::place_of;
use super::scene::{Place, SceneRow};

/// The delay counts as told when its standard error, what the models are wrong by left out, falls below this share of the prior's.
const TOLD_SHARE: f64 = 0.5;
/// A pull that tells its delay does not believe the bay beyond so many standard deviations.
const DISAGREES: f64 = 3.0;

/// Least standard deviations of a belief: cycles, ln(volume), ln(lag). A search takes errors of the flow model for
/// cycles and volume, and the next pull runs at other flows (set on simulated cells).
const BELIEF_SD_MIN: Place = [0.3, 0.35, 0.2];

/// What models of flow and film are wrong by at any delay, as a share of it: the same in every pull of an engine, so
/// that no scatter shows it. On simulated engines (seeds 1001 to 1040) pulls of one engine agreed to 3 to 7 %, and
/// were off together by 13 to 22; after fuel steps by 6.
const MODEL_SHARE: f64 = 0.2;

/// What a search came to.
pub(super) struct Told {
    pub(super) place: Place,
    /// Precision with the physical prior in it.
    pub(super) precision: Matrix3<f64>,
    pub(super) prior: Place,
    pub(super) prior_sd: Place,
}

/// A place with its covariance.
struct Spot {
    place: Vector3<f64>,
    covariance: Matrix3<f64>,
}

impl Spot {
    fn model(&self) -> DelayModel {
        DelayModel {
            cycles: self.place[0],
            gas_volume_l: self.place[1].exp(),
            lag_s: self.place[2].exp(),
        }
    }

    /// Returns delay and lag at a point, with their standard error.
    fn at(&self, cycle_s: f64, s_per_l: f64) -> TypicalDelay {
        let model = self.model();
        let gas_s = model.gas_volume_l * s_per_l;
        let slope = Vector3::new(cycle_s, gas_s, model.lag_s);
        let variance = (slope.transpose() * self.covariance * slope)[0];
        TypicalDelay {
            delay_s: cycle_s * model.cycles + gas_s + model.lag_s,
            standard_error_s: variance.max(0.0).sqrt(),
        }
    }

    /// Returns the same with what the models are wrong by.
    fn honestly_at(&self, cycle_s: f64, s_per_l: f64) -> TypicalDelay {
        let scattered = self.at(cycle_s, s_per_l);
        let model_s = MODEL_SHARE * scattered.delay_s;
        TypicalDelay {
            standard_error_s: scattered.standard_error_s.hypot(model_s),
            ..scattered
        }
    }

    /// Returns the standard errors of the delay's parts, likewise.
    fn standard_error(&self) -> DelayModel {
        let model = self.model();
        let sd = |part: usize| self.covariance[(part, part)].max(0.0).sqrt();
        DelayModel {
            cycles: sd(0).hypot(MODEL_SHARE * model.cycles),
            gas_volume_l: model.gas_volume_l * sd(1).hypot(MODEL_SHARE),
            lag_s: model.lag_s * sd(2).hypot(MODEL_SHARE),
        }
    }
}

fn diagonal(sd: &Place) -> Matrix3<f64> {
    Matrix3::from_diagonal(&Vector3::from_fn(|part, _| sd[part] * sd[part]))
}

fn spot(place: &Place, sd: &Place) -> Spot {
    Spot {
        place: Vector3::from_column_slice(place),
        covariance: diagonal(sd),
    }
}

/// Returns a belief as a place with standard deviations in the search's own numbers.
fn spot_of(belief: &DelayBelief) -> Spot {
    let (model, error) = (&belief.model, &belief.standard_error);
    let sd = [
        error.cycles.max(BELIEF_SD_MIN[0]),
        (error.gas_volume_l / model.gas_volume_l.max(1e-3)).max(BELIEF_SD_MIN[1]),
        (error.lag_s / model.lag_s.max(1e-3)).max(BELIEF_SD_MIN[2]),
    ];
    spot(&place_of(model), &sd)
}

impl Told {
    fn own(&self) -> Spot {
        Spot {
            place: Vector3::from_column_slice(&self.place),
            covariance: self.precision.try_inverse().unwrap_or_else(Matrix3::zeros),
        }
    }

    /// Returns the search's result with `belief` in the physical prior's stead.
    fn joined(&self, belief: &Spot) -> Option<Spot> {
        let physics = diagonal(&self.prior_sd).try_inverse()?;
        let believed = belief.covariance.try_inverse()?;
        let own = self.precision * Vector3::from_column_slice(&self.place)
            - physics * Vector3::from_column_slice(&self.prior);
        let covariance = (self.precision - physics + believed).try_inverse()?;
        let place = covariance * (own + believed * belief.place);
        let fits = (0..3).all(|part| covariance[(part, part)] > 0.0 && place[part].is_finite());
        fits.then_some(Spot { place, covariance })
    }
}

/// Returns the largest distance of two places in any of their numbers, standard deviations.
fn apart(a: &Spot, b: &Spot) -> f64 {
    let part = |part: usize| {
        let variance = a.covariance[(part, part)] + b.covariance[(part, part)];
        (a.place[part] - b.place[part]).abs() / variance.max(1e-12).sqrt()
    };
    (0..3).map(part).fold(0.0, f64::max)
}

/// Says how well the delay is known, at the rows' typical operating point.
pub(super) fn verdict(rows: &[SceneRow], found: &Told, belief: Option<&DelayBelief>) -> DelayFound {
    let middle = |mut values: Vec<f64>| {
        let at = values.len() / 2;
        *values.select_nth_unstable_by(at, f64::total_cmp).1
    };
    let cycle_s = middle(rows.iter().map(|row| row.cycle_s).collect());
    let s_per_l = middle(rows.iter().map(|row| row.s_per_l).collect());
    let own = found.own();
    // The prior is a share of volume and lag, so that it is as wide as they are large.
    let unknown = spot(&found.place, &found.prior_sd).at(cycle_s, s_per_l);
    let alone = own.at(cycle_s, s_per_l);
    let is_told = alone.standard_error_s < TOLD_SHARE * unknown.standard_error_s;
    let belief = belief.map(spot_of);
    let distance = belief.as_ref().map(|belief| apart(&own, belief));
    let disagrees = distance.filter(|&distance| is_told && distance > DISAGREES);
    let joined = belief
        .filter(|_| disagrees.is_none())
        .and_then(|belief| found.joined(&belief));
    let source = match (is_told, &joined) {
        (true, _) => DelaySource::Identified,
        (false, Some(_)) => DelaySource::Bay,
        (false, None) => DelaySource::Prior,
    };
    let spot = joined.unwrap_or(own);
    let typical = spot.honestly_at(cycle_s, s_per_l);
    DelayFound {
        standard_error: spot.standard_error(),
        model: spot.model(),
        source,
        remark: remark(source, &typical, disagrees),
        typical: Some(typical),
    }
}

fn remark(source: DelaySource, typical: &TypicalDelay, disagrees: Option<f64>) -> String {
    let figures = format!(
        "{:.0} ms of delay and lag at the pull's typical point, give or take {:.0} ms",
        1000.0 * typical.delay_s,
        2000.0 * typical.standard_error_s
    );
    match (source, disagrees) {
        (DelaySource::Identified, Some(distance)) => format!(
            "quick movements and cut edges tell it: {figures}. Earlier pulls in the bay told another, {distance:.0} \
             standard errors away: ask whether the sensor was moved or changed."
        ),
        (DelaySource::Identified, None) => {
            format!("quick movements and cut edges tell it: {figures}")
        }
        (DelaySource::Bay, _) => format!(
            "the pull alone tells the delay only roughly: what earlier pulls in the bay told counts as well, {figures}"
        ),
        _ => format!(
            "the pull tells the delay only roughly: what is usual for such an engine counts as well, {figures}. A pull \
             with a few overrun cuts or fuel steps would tell it."
        ),
    }
}
