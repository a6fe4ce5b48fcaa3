//! The daemon's own log, on standard error.

use std::io::IsTerminal as _;

use tracing_subscriber::layer::SubscriberExt as _;
use tracing_subscriber::util::SubscriberInitExt as _;
use tracing_subscriber::{EnvFilter, Layer, Registry};

/// How log lines look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LogFormat {
    /// For people.
    Text,
    /// One JSON object a line.
    Json,
}

/// Starts logging to standard error, and whatever `traces` does with spans; a second call changes nothing.
///
/// `level` is a filter such as `info` or `baytrimd=debug,warn`; one that can't be read counts as `info`.
#[expect(
    clippy::disallowed_methods,
    reason = "NO_COLOR concerns nothing but how log lines look"
)]
pub fn start(format: LogFormat, level: &str, traces: impl Layer<Registry> + Send + Sync) {
    let filter = EnvFilter::try_new(level).unwrap_or_else(|_| EnvFilter::new("info"));
    let registry = tracing_subscriber::registry().with(traces);
    let is_coloured = std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none();
    let layer = tracing_subscriber::fmt::layer()
        .with_writer(std::io::stderr)
        .with_ansi(is_coloured);
    // Fails only when logging was started before, which is as good.
    let _ = match format {
        LogFormat::Text => registry.with(layer.with_filter(filter)).try_init(),
        LogFormat::Json => {
            let layer = layer.json().flatten_event(true);
            registry.with(layer.with_filter(filter)).try_init()
        }
    };
}
