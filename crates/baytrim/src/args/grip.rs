//! `baytrim grip …`.

use clap::{Args, Subcommand};

use super::proposal::ProposeArgs;
use crate::name::{JobName, parse_job};

/// Looks at how the plate follows the hand, and computes grip tables.
#[derive(Debug, Subcommand)]
pub(crate) enum GripCommand {
    /// Show how the plate follows the hand in each riding mode: drift with rpm, gain, surface
    #[command(after_help = "Examples:\n  \
        baytrim grip show quoll-1\n  \
        baytrim grip show quoll-1 --mode street\n\n\
        What is shown comes from the times at which the hand stood still, where grip, plate and rpm are logged.")]
    Show(GripShowArgs),
    /// Compute the grip table of a riding mode as a proposal: reviewed like any other
    #[command(after_help = "Examples:\n  \
        baytrim grip propose quoll-1 --mode street\n  \
        baytrim grip propose quoll-1 --mode street --without p2 --dry-run\n\n\
        The job file must give [grip.MODE]. A plate that opens further than the hand asks can throw a rider: on the\n\
        roller first, never on the road.")]
    Propose(GripProposeArgs),
}

/// What to show.
#[derive(Debug, Args)]
pub(crate) struct GripShowArgs {
    /// The job, for example quoll-1
    #[arg(value_name = "JOB", value_parser = parse_job)]
    pub(crate) job: JobName,
    /// Only this riding mode [default: all]
    #[arg(long, value_name = "MODE")]
    pub(crate) mode: Option<String>,
}

/// What to compute.
#[derive(Debug, Args)]
pub(crate) struct GripProposeArgs {
    #[command(flatten)]
    pub(crate) propose: ProposeArgs,
    /// The riding mode, for example street; unnamed for pulls that name none
    #[arg(long, value_name = "MODE")]
    pub(crate) mode: String,
}
