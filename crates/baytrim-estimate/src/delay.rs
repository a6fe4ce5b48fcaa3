//! The delay that a pull is read with.

use baytrim_model::bay::{DelayChoice, DelayModel};
use baytrim_model::engine::Engine;
use baytrim_model::pull::{DelayFound, DelaySource};

use crate::context::PullContext;
use crate::frame::Frame;
use crate::hat::HatFinder;
use crate::read::ReadError;
use crate::row::Row;

/// Cycles from induction to exhaust; common practice has one to one and a half.
const CYCLES: f64 = 1.0;
/// Standard deviation of the cycles from engine to engine.
const CYCLES_SD: f64 = 0.25;
/// Lag of a wideband sensor with its meter, seconds: 0.05 to 0.15 in the literature.
const LAG_S: f64 = 0.08;
/// Standard deviation of ln(lag).
const LAG_LOG_SD: f64 = 0.4;
/// Gas volume to the sensor for each litre of displacement, litres: header to tailpipe differ tenfold.
const GAS_L_PER_L: f64 = 2.0;
/// Standard deviation of ln(gas volume).
const GAS_LOG_SD: f64 = 0.7;

/// Returns the delay that physics expects before any pull.
pub fn prior(engine: &Engine) -> DelayModel {
    DelayModel {
        cycles: CYCLES,
        gas_volume_l: (GAS_L_PER_L * engine.displacement_cc / 1000.0).clamp(0.05, 20.0),
        lag_s: LAG_S,
    }
}

/// Returns the standard errors of [`prior`], each in its unit.
pub fn prior_standard_error(engine: &Engine) -> DelayModel {
    let prior = prior(engine);
    DelayModel {
        cycles: CYCLES_SD,
        gas_volume_l: prior.gas_volume_l * GAS_LOG_SD,
        lag_s: prior.lag_s * LAG_LOG_SD,
    }
}

/// Returns the delay as given or as physics expects.
pub(crate) fn without_pull(choice: DelayChoice, engine: &Engine) -> DelayFound {
    match choice {
        DelayChoice::Given(model) => DelayFound {
            model,
            source: DelaySource::Given,
            standard_error: DelayModel {
                cycles: 0.0,
                gas_volume_l: 0.0,
                lag_s: 0.0,
            },
            remark: "as given by the job".to_owned(),
        },
        DelayChoice::Identify => DelayFound {
            model: prior(engine),
            source: DelaySource::Prior,
            standard_error: prior_standard_error(engine),
            remark: "the pull cannot tell the delay: what is usual for such an engine stands. \
                     A pull with a few overrun cuts or fuel steps would tell it."
                .to_owned(),
        },
    }
}

/// Returns the transport delay that `model` gives an operating point, in seconds, lag not included.
///
/// # Errors
/// When a per-node list of `context` does not fit its axes.
pub fn transport_s(
    context: &PullContext<'_>,
    model: &DelayModel,
    points: &[(f64, f64)],
) -> Result<Vec<f64>, ReadError> {
    let frame = Frame::new(context)?;
    let mut finder = HatFinder::default();
    Ok(points
        .iter()
        .map(|&(rpm, plate_percent)| {
            let hat = finder.find(&frame.axes, rpm, plate_percent);
            let row = Row { rpm, plate_percent, ..Row::EMPTY };
            frame.delay_s(model, rpm, frame.filling(&row, &hat))
        })
        .collect())
}
