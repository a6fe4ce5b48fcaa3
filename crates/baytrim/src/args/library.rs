//! `baytrim library …`.

use clap::{Args, Subcommand};

use super::JobArg;
use crate::name::{JobName, parse_job};

/// Looks at what the shop's own jobs teach, and starts a job from them.
#[derive(Debug, Subcommand)]
pub(crate) enum LibraryCommand {
    /// List the jobs that teach: their vehicle, and the approved revision
    #[command(after_help = "Example:\n  baytrim library list")]
    List,
    /// List the entries of a job's kind, the nearest by its parts first
    #[command(after_help = "Example:\n  baytrim library nearest quoll-1")]
    Nearest(JobArg),
    /// Compute a starting table from vehicles of the kind and record it as a proposal; it only adds fuel
    Start(StartArgs),
}

/// What to start from.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    baytrim library start quoll-1\n  \
    baytrim library start quoll-1 --from quoll-3 --dry-run\n\n\
    It is approved or rejected like any other proposal; `baytrim table show JOB` shows the difference to base.")]
pub(crate) struct StartArgs {
    #[command(flatten)]
    pub(crate) job: JobArg,
    /// Learn from these jobs [default: all of the kind with the same parts]
    #[arg(long, value_name = "JOB,...", value_delimiter = ',', value_parser = parse_job)]
    pub(crate) from: Vec<JobName>,
    /// Only compute and show: record nothing
    #[arg(long)]
    pub(crate) dry_run: bool,
}
