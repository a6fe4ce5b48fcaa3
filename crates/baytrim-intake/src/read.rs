//! Reads a log of whatever kind.

use std::io::Read;
use std::rc::Rc;

use baytrim_model::channel::ChannelMap;
use baytrim_model::engine::Fuel;

use crate::bytes::{Gauge, LogBytes};
#[cfg(feature = "columnar")]
use crate::columnar::{preview_columnar, read_columnar};
use crate::error::IntakeError;
use crate::kind::{KIND_BYTES, Kind, kind_of};
use crate::limits::LogLimits;
use crate::mdf::{preview_mdf, read_mdf};
#[cfg(feature = "columnar")]
use crate::report::LogFormat;
use crate::report::{Compression, Intake};
use crate::suggest::table::RawTable;
use crate::text::{peek, preview_text, read_text};

/// Reads a log; its kind is told by its content.
///
/// A text is never held as a whole: memory is that of the samples plus a few buffers within
/// `limits`. Other kinds are held packed and, a group of channels at a time, unpacked, each at most
/// as large as `limits` allow a log to be. Offsets begin at 0. `source_name` is what messages call the log.
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
    let mut problems = map.problems("");
    problems.extend(fuel.problems());
    if !problems.is_empty() {
        return Err(IntakeError::Map {
            source_name: source_name.to_owned(),
            problems,
        });
    }
    let gauge = Rc::new(Gauge::default());
    let (kind, bytes, compression) = open_bytes(source, source_name, limits, &gauge)?;
    let job = LogJob {
        source_name,
        map,
        fuel,
        limits,
        compression,
        gauge: &gauge,
    };
    match kind {
        Kind::Text => read_text(bytes, &job),
        Kind::Mdf => read_mdf(bytes, &job),
        #[cfg(feature = "columnar")]
        Kind::Parquet => read_columnar(bytes, LogFormat::Parquet, &job),
        #[cfg(feature = "columnar")]
        Kind::Arrow => read_columnar(bytes, LogFormat::ArrowIpc, &job),
        #[cfg(not(feature = "columnar"))]
        Kind::Parquet => Err(unsupported(source_name, "a Parquet table")),
        #[cfg(not(feature = "columnar"))]
        Kind::Arrow => Err(unsupported(source_name, "an Arrow table")),
        Kind::Other(kind) => Err(unsupported(source_name, kind)),
    }
}

/// What a log is read with.
pub(crate) struct LogJob<'a> {
    pub source_name: &'a str,
    pub map: &'a ChannelMap,
    pub fuel: &'a Fuel,
    pub limits: &'a LogLimits,
    pub compression: Compression,
    pub gauge: &'a Rc<Gauge>,
}

/// Looks at a log without a channel map; its kind is told by its content.
pub(crate) fn open_table(
    source: &mut dyn Read,
    source_name: &str,
    limits: &LogLimits,
) -> Result<RawTable, IntakeError> {
    let gauge = Rc::new(Gauge::default());
    let (kind, bytes, _) = open_bytes(source, source_name, limits, &gauge)?;
    match kind {
        Kind::Text => preview_text(bytes, limits, &gauge, source_name),
        Kind::Mdf => preview_mdf(bytes, limits, &gauge, source_name),
        #[cfg(feature = "columnar")]
        Kind::Parquet => preview_columnar(bytes, LogFormat::Parquet, limits, &gauge, source_name),
        #[cfg(feature = "columnar")]
        Kind::Arrow => preview_columnar(bytes, LogFormat::ArrowIpc, limits, &gauge, source_name),
        #[cfg(not(feature = "columnar"))]
        Kind::Parquet => Err(unsupported(source_name, "a Parquet table")),
        #[cfg(not(feature = "columnar"))]
        Kind::Arrow => Err(unsupported(source_name, "an Arrow table")),
        Kind::Other(kind) => Err(unsupported(source_name, kind)),
    }
}

fn open_bytes<'a>(
    source: &'a mut dyn Read,
    source_name: &str,
    limits: &LogLimits,
    gauge: &Rc<Gauge>,
) -> Result<(Kind, impl Read + use<'a>, Compression), IntakeError> {
    let explain = |error| gauge.explain(source_name, error);
    let bytes = LogBytes::open(source, limits.bytes_max, gauge).map_err(explain)?;
    let compression = bytes.compression();
    let (head, bytes) = peek(bytes, KIND_BYTES).map_err(explain)?;
    Ok((kind_of(&head), bytes, compression))
}

fn unsupported(source_name: &str, kind: &'static str) -> IntakeError {
    IntakeError::UnsupportedFormat {
        source_name: source_name.to_owned(),
        kind,
    }
}
