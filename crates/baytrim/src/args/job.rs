//! `baytrim job …`.

use std::path::PathBuf;

use clap::Subcommand;

use super::JobArg;

/// Opens jobs and looks at them.
#[derive(Debug, Subcommand)]
pub(crate) enum JobCommand {
    /// Open a job from a job file and the tables that it names beside it
    #[command(
        after_help = "Example:\n  baytrim job example > quoll.toml   (then edit it)\n  baytrim job open quoll.toml"
    )]
    Open {
        /// The job file, TOML
        #[arg(value_name = "FILE.toml")]
        file: PathBuf,
        /// Only check the file: open nothing
        #[arg(long)]
        check: bool,
    },
    /// List the shop's jobs
    #[command(after_help = "Example:\n  baytrim job list --json | jq '.jobs[].id'")]
    List,
    /// Show one job: engine, fuel, table, limits, how far it is
    #[command(after_help = "Example:\n  baytrim job show quoll-1")]
    Show(JobArg),
    /// Print a job file with every key explained, to start from; needs no server
    #[command(after_help = "Example:\n  baytrim job example > quoll.toml")]
    Example,
}
