//! Turns log files into samples.
//! Knows nothing of estimation, storage, wire, clocks, async.

mod align;
mod assemble;
mod bytes;
mod clock;
#[cfg(feature = "columnar")]
mod columnar;
mod columns;
mod correlation;
pub mod error;
pub mod fingerprint;
mod kind;
pub mod limits;
pub mod map_file;
mod mdf;
pub mod place;
mod plausible;
pub mod quality;
pub mod read;
pub mod report;
pub mod standard;
pub mod suggest;
mod text;
mod units;
mod wanted;

pub use error::IntakeError;
pub use fingerprint::fingerprint;
pub use limits::LogLimits;
pub use map_file::parse_channel_map;
pub use quality::check_axes;
pub use read::read_log;
pub use report::{Intake, IntakeReport};
pub use standard::standard_channels;
pub use suggest::{Suggestion, suggest};
