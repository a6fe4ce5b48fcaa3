//! What logs become, from the outside.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

mod bounded;
mod channel_maps;
mod clocks;
mod dialects;
mod files;
mod mdf;
mod messages;
mod properties;
mod road_logs;
mod suggestions;
mod support;
