//! `baytrim channels …`.

use std::path::PathBuf;

use clap::{Args, Subcommand};

/// Finds out which column of a log is which quantity.
#[derive(Debug, Subcommand)]
pub(crate) enum ChannelsCommand {
    /// Propose a channel map for a log: from names, units and what its numbers do
    Suggest(SuggestArgs),
}

/// Which log to look at.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    baytrim channels suggest pull-1.csv\n  \
    baytrim channels suggest pull-1.csv --output east-channels.toml")]
pub(crate) struct SuggestArgs {
    /// The log
    #[arg(value_name = "LOG")]
    pub(crate) log: PathBuf,
    /// Write the channel map into this file, which must not be there yet
    #[arg(long, value_name = "FILE.toml")]
    pub(crate) output: Option<PathBuf>,
}
