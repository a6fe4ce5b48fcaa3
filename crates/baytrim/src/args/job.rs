//! `baytrim job …`.

use std::path::PathBuf;

use clap::Subcommand;

use super::{JobArg, ReasonArg};

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
    /// Close a job: the work is finished; whatever is recorded later takes it up again
    #[command(
        after_help = "Example:\n  baytrim job close quoll-1 --reason \"handed over with r3\""
    )]
    Close {
        #[command(flatten)]
        job: JobArg,
        #[command(flatten)]
        reason: ReasonArg,
    },
    /// Take a closed job up again
    #[command(after_help = "Example:\n  baytrim job reopen quoll-1 --reason \"surges at 3000\"")]
    Reopen {
        #[command(flatten)]
        job: JobArg,
        #[command(flatten)]
        reason: ReasonArg,
    },
    /// Write a job with its logs into one file, to be taken in elsewhere
    #[command(after_help = "Example:\n  baytrim job export quoll-1 --output quoll-1.tar")]
    Export {
        #[command(flatten)]
        job: JobArg,
        /// The file to write; it must not be there yet
        #[arg(long, value_name = "FILE")]
        output: PathBuf,
    },
    /// Take in a job from a file that `job export` wrote, records and seals as they were
    #[command(after_help = "Example:\n  baytrim job import quoll-1.tar")]
    Import {
        /// The file
        #[arg(value_name = "FILE")]
        file: PathBuf,
        /// Only prove and compare it: take nothing
        #[arg(long)]
        check: bool,
    },
    /// Write a job's sheet for the customer and the file, as PDF
    #[command(after_help = "Example:\n  baytrim job sheet quoll-1 --output quoll-1.pdf")]
    Sheet {
        /// The job
        #[command(flatten)]
        job: JobArg,
        /// File to write; `-` is standard output
        #[arg(long, short, value_name = "FILE.pdf")]
        output: PathBuf,
    },
    /// Print the records of a job, then each as it is recorded, until Ctrl-C
    #[command(after_help = "Example:\n  baytrim job follow quoll-1 --json | jq .kind")]
    Follow(JobArg),
    /// Print a job file with every key explained, to start from; needs no server
    #[command(after_help = "Example:\n  baytrim job example > quoll.toml")]
    Example,
}
