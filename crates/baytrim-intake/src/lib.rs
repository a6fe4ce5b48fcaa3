//! Turns log files into samples.
//! Knows nothing of estimation, storage, wire, clocks, async.

pub mod error;
pub mod limits;
pub mod map_file;
pub mod place;
pub mod read;
pub mod report;
pub mod standard;

pub use error::IntakeError;
pub use limits::LogLimits;
pub use map_file::parse_channel_map;
pub use read::read_log;
pub use report::{Intake, IntakeReport};
pub use standard::standard_channels;
