//! What is odd about a log's axes as a whole, before anything is learned of it.
//!
//! What is odd about its lambda, and whether it is of this vehicle, the estimator tells.

mod axes;

use baytrim_model::axis::Axes;
use baytrim_model::channel::Quantity;
use baytrim_model::pull::PullWarning;
use baytrim_model::samples::Samples;

/// Fewest samples from which a log is judged as a whole.
const SAMPLES_MIN: usize = 50;

/// Returns what is odd about the speed and the plate of `samples` for a table with `axes`: each a
/// warning with a sentence that says what to check. Nothing is refused here.
///
/// The codes are `plate_degrees`, `plate_still`, `rpm_out_of_table` and `plate_out_of_table`.
pub fn check_axes(samples: &Samples, axes: &Axes) -> Vec<PullWarning> {
    if samples.len() < SAMPLES_MIN {
        return Vec::new();
    }
    let rpm = samples.channel(Quantity::EngineSpeed).unwrap_or_default();
    let plate = samples.channel(Quantity::PlateAngle).unwrap_or_default();
    axes::check(samples, rpm, plate, axes)
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
