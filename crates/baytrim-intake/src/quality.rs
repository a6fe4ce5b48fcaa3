//! What is odd about a log as a whole, before anything is learned of it.

mod lambda;
mod vehicle;

use baytrim_model::axis::Axes;
use baytrim_model::channel::{EvidenceKind, Quantity};
use baytrim_model::engine::Fuel;
use baytrim_model::pull::PullWarning;
use baytrim_model::samples::Samples;

/// Fewest samples from which a log is judged as a whole.
const SAMPLES_MIN: usize = 50;

/// Returns what is odd about `samples`, which were read as `evidence`, for a vehicle with `axes` and
/// `fuel`: each a warning with a sentence that says what to check. Nothing is refused here.
///
/// The codes are `lambda_dead`, `lambda_slow`, `lambda_unrelated`, `lambda_afr_fuel`, `plate_degrees`,
/// `plate_still`, `rpm_out_of_table`, `plate_out_of_table` and `other_vehicle`.
pub fn check_quality(
    samples: &Samples,
    evidence: EvidenceKind,
    axes: &Axes,
    fuel: &Fuel,
) -> Vec<PullWarning> {
    let mut warnings = Vec::new();
    if samples.len() < SAMPLES_MIN {
        return warnings;
    }
    let rpm = samples.channel(Quantity::EngineSpeed).unwrap_or_default();
    let plate = samples.channel(Quantity::PlateAngle).unwrap_or_default();
    if let Some(lambda) = samples.channel(Quantity::Lambda)
        && evidence != EvidenceKind::Trims
    {
        warnings.extend(lambda::check(samples, lambda, rpm, plate, fuel));
    }
    warnings.extend(vehicle::check(samples, rpm, plate, axes));
    warnings
}

/// Returns a warning.
fn warn(code: &str, message: String) -> PullWarning {
    PullWarning {
        code: code.to_owned(),
        message,
    }
}

/// Returns the readings of rows where the engine runs.
fn while_running<'a>(rpm: &'a [f64], values: &'a [f64]) -> impl Iterator<Item = f64> + 'a {
    let both = rpm.iter().zip(values);
    both.filter(|(rpm, value)| **rpm > RUNNING_RPM_MIN && !value.is_nan())
        .map(|(_, value)| *value)
}

/// An engine that turns faster runs by itself, rpm.
const RUNNING_RPM_MIN: f64 = 400.0;
