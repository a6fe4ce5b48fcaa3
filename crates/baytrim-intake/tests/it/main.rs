//! What logs become, from the outside.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

mod bounded;
mod channel_maps;
mod clocks;
#[cfg(feature = "columnar")]
mod column_types;
#[cfg(feature = "columnar")]
mod columnar;
mod dialects;
mod files;
mod mdf;
mod messages;
mod mutations;
mod properties;
mod quality;
mod road_logs;
mod sheets;
mod suggestions;
mod support;
