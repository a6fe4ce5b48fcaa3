//! `baytrim channels …`.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use crate::name::{BayName, parse_bay, parse_map};

/// Finds out which column of a log is which quantity, and keeps it for a bay.
#[derive(Debug, Subcommand)]
pub(crate) enum ChannelsCommand {
    /// Propose a channel map for a log: from names, units and what its numbers do
    Suggest(SuggestArgs),
    /// Put a channel map in force for a bay: pulls of it that give none are read with it from now on
    Set(SetArgs),
    /// Show the channel map of a bay
    Show(ShowArgs),
    /// List all channel maps that a bay has had, oldest first
    #[command(after_help = "Example:\n  baytrim channels history east")]
    History(BayArg),
    /// List the bays that have a channel map
    #[command(after_help = "Example:\n  baytrim channels list")]
    List,
}

/// A bay by name.
#[derive(Debug, Args)]
pub(crate) struct BayArg {
    /// The bay, for example east
    #[arg(value_name = "BAY", value_parser = parse_bay)]
    pub(crate) bay: BayName,
}

/// Looks at bays.
#[derive(Debug, Subcommand)]
pub(crate) enum BayCommand {
    /// Show what the ledger knows of a bay: its channel map, and the delays that pulls in it told
    #[command(after_help = "Example:\n  baytrim bay show east")]
    Show(BayArg),
    /// Keep a reading of the bay's lambda sensor in free air
    #[command(
        after_help = "Example:\n  baytrim bay check east --oxygen 20.8 --notes \"calibrated before\"\n\nDry air has 20.95 % oxygen. Let the sensor warm up, out of any exhaust."
    )]
    Check {
        #[command(flatten)]
        bay: BayArg,
        /// Oxygen that the sensor shows in free air, percent by volume
        #[arg(long, value_name = "PERCENT")]
        oxygen: f64,
        /// What was done about it, or seen; it goes on record
        #[arg(long, value_name = "TEXT")]
        notes: Option<String>,
    },
}

/// Which channel map to put in force.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    baytrim channels set east east-channels.toml --reason \"new lambda meter\"\n  \
    baytrim channels set east east-channels.toml --check   (record nothing)")]
pub(crate) struct SetArgs {
    #[command(flatten)]
    pub(crate) bay: BayArg,
    /// The channel map
    #[arg(value_name = "FILE.toml")]
    pub(crate) file: PathBuf,
    /// Why, in your own words; it goes on record
    #[arg(long, value_name = "TEXT")]
    pub(crate) reason: Option<String>,
    /// Only check the map: record nothing
    #[arg(long)]
    pub(crate) check: bool,
}

/// Which channel map to show.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    baytrim channels show east\n  \
    baytrim channels show east --map m1 --output earlier.toml")]
pub(crate) struct ShowArgs {
    #[command(flatten)]
    pub(crate) bay: BayArg,
    /// The map [default: the one in force]
    #[arg(long, value_name = "mN", value_parser = parse_map)]
    pub(crate) map: Option<String>,
    /// Write the map into this file, which must not be there yet
    #[arg(long, value_name = "FILE.toml")]
    pub(crate) output: Option<PathBuf>,
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
