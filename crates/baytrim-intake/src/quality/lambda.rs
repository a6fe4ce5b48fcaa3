//! A lambda that says nothing about the engine.

use baytrim_model::engine::Fuel;
use baytrim_model::pull::PullWarning;
use baytrim_model::samples::Samples;

use super::{RUNNING_RPM_MIN, warn, while_running};
use crate::clock::quantile;
use crate::correlation::correlation;

/// A sensor that works moves at least so much from the 5th to the 95th percentile, for combustion is
/// never even (common practice).
const MOVEMENT_MIN: f64 = 0.002;

/// Where lambda spreads less than this from the 5th to the 95th percentile, the table is nearly right
/// and there is little that could answer to the plate.
const SPREAD_MIN: f64 = 0.05;

/// A plate or a speed that moves less than this over a log gives lambda nothing to answer to: percent
/// of travel, and rpm.
const PLATE_MOVEMENT_MIN: f64 = 15.0;
const RPM_MOVEMENT_MIN: f64 = 800.0;

/// Longest delay that is looked for, and that from which it is beyond belief, seconds. Gas from the
/// valve to a tailpipe clamp takes a second or so at idle, less at load (common practice).
const DELAY_S_MAX: f64 = 8.0;
const DELAY_S_BELIEVED: f64 = 3.0;

/// Overrun lets air through: lambda this high there is an answer to the plate.
const OVERRUN_LAMBDA: f64 = 1.3;

pub(super) fn check(
    samples: &Samples,
    lambda: &[f64],
    rpm: &[f64],
    plate: &[f64],
    fuel: &Fuel,
) -> Vec<PullWarning> {
    let mut warnings = Vec::new();
    let mut running: Vec<f64> = while_running(rpm, lambda).collect();
    if running.len() < super::SAMPLES_MIN {
        return warnings;
    }
    let low = quantile(&mut running, 0.05);
    let middle = quantile(&mut running, 0.5);
    let high = quantile(&mut running, 0.95);
    let moves = [
        movement(rpm, plate) >= PLATE_MOVEMENT_MIN,
        movement(rpm, rpm) >= RPM_MOVEMENT_MIN,
    ];
    if high - low < MOVEMENT_MIN && moves.contains(&true) {
        warnings.push(warn(
            "lambda_dead",
            format!(
                "lambda stays between {low:.3} and {high:.3} while the engine works: the sensor is dead, not warm, or the column is a target; check what is logged before anything is made of it"
            ),
        ));
        return warnings;
    }
    if let Some(message) = other_fuel(middle, fuel) {
        warnings.push(warn("lambda_afr_fuel", message));
    }
    if moves[0] && high - low > SPREAD_MIN {
        warnings.extend(answer(samples, lambda, rpm, plate));
    }
    warnings
}

fn movement(rpm: &[f64], values: &[f64]) -> f64 {
    let mut running: Vec<f64> = while_running(rpm, values).collect();
    quantile(&mut running, 0.95) - quantile(&mut running, 0.05)
}

/// An AFR of one fuel read with the ratio of another puts the whole log off by their quotient.
fn other_fuel(middle: f64, fuel: &Fuel) -> Option<String> {
    // Outside these no engine runs as a whole: lean misfire, and rich limit (common practice).
    if (0.62..=1.35).contains(&middle) {
        return None;
    }
    let ratio = fuel.stoichiometric_afr;
    let petrol = middle * ratio / 14.7;
    let hint = if (0.7..=1.15).contains(&petrol) && (ratio - 14.7).abs() > 0.5 {
        format!(
            "; read with a ratio of 14.7 it would be {petrol:.2}: the meter reckons with petrol, it seems, so that its AFR is to be divided by 14.7 whatever the fuel (scale = {:.4})",
            ratio / 14.7
        )
    } else {
        ": check the unit, the fuel's ratio and the meter's line".to_owned()
    };
    Some(format!(
        "half of lambda lies beyond {middle:.2}, which no engine runs on as a whole{hint}"
    ))
}

/// Looks for the delay at which lambda answers to the plate.
fn answer(samples: &Samples, lambda: &[f64], rpm: &[f64], plate: &[f64]) -> Option<PullWarning> {
    let steps = samples.offset_s.windows(2).map(|pair| pair[1] - pair[0]);
    let step_s = quantile(&mut steps.collect::<Vec<f64>>(), 0.5);
    if !(step_s > 0.0 && step_s <= 1.0) {
        return None;
    }
    // Overrun is the loudest answer: the plate shuts, and lambda leaves the range. It is clipped so
    // that it does not drown the rest.
    let clipped: Vec<f64> = rpm
        .iter()
        .zip(lambda)
        .map(|(rpm, lambda)| {
            if *rpm > RUNNING_RPM_MIN {
                lambda.min(OVERRUN_LAMBDA)
            } else {
                f64::NAN
            }
        })
        .collect();
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "the clock's steps are above a microsecond"
    )]
    let shifts = (DELAY_S_MAX / step_s) as usize;
    let stride = (shifts / 80).max(1);
    let mut best = (0.0_f64, 0.0);
    for shift in (0..=shifts).step_by(stride) {
        if shift + super::SAMPLES_MIN > clipped.len() {
            break;
        }
        let strength = [plate, rpm]
            .iter()
            .map(|cause| correlation(&cause[..cause.len() - shift], &clipped[shift..]).abs())
            .fold(0.0, f64::max);
        if strength > best.0 {
            best = (strength, shift as f64 * step_s);
        }
    }
    // What chance alone gives: readings are worth one in so many, for they follow each other.
    let independent = (samples.duration_s() / 2.0).max(4.0);
    let chance = 2.5 / independent.sqrt();
    let (strength, delay_s) = best;
    if strength < chance.min(0.25) && strength < 0.1 {
        return Some(warn(
            "lambda_unrelated",
            format!(
                "lambda follows neither plate nor speed at any delay up to {DELAY_S_MAX} s (correlation {strength:.2} at best): the channels may be of two recordings, or lambda is that of another cylinder or engine; check that they belong together"
            ),
        ));
    }
    if delay_s > DELAY_S_BELIEVED && strength > (3.0 * chance).min(0.6) {
        return Some(warn(
            "lambda_slow",
            format!(
                "lambda answers to plate and speed {delay_s:.1} s late, which is beyond belief for gas and sensor: check that the channels have one clock, and the sensor's age and place"
            ),
        ));
    }
    None
}
