//! Turns log files into samples.
//! Knows nothing of estimation, storage, wire, clocks, async.

mod align;
mod assemble;
mod bytes;
mod clock;
mod columns;
pub mod error;
mod kind;
pub mod limits;
pub mod map_file;
mod mdf;
pub mod place;
mod plausible;
pub mod read;
pub mod report;
pub mod standard;
pub mod suggest;
mod text;
mod units;
mod wanted;

pub use error::IntakeError;
pub use limits::LogLimits;
pub use map_file::parse_channel_map;
pub use read::read_log;
pub use report::{Intake, IntakeReport};
pub use standard::standard_channels;
pub use suggest::{Suggestion, suggest};
