//! `baytrim pull …`.

use std::path::PathBuf;

use baytrim_api::v1::Conditions;
use clap::{Args, Subcommand};

use super::JobArg;
use crate::name::{JobName, parse_job, parse_pull, parse_revision, parse_stage};

/// Sends pulls and looks at them.
#[derive(Debug, Subcommand)]
pub(crate) enum PullCommand {
    /// Send finished logs, each as one pull, and show what the gates left of them
    Submit(Box<SubmitArgs>),
    /// List the pulls of a job
    #[command(after_help = "Example:\n  baytrim pull list quoll-1")]
    List(JobArg),
    /// Show one pull: what was refused and why, coverage, delay
    #[command(after_help = "Example:\n  baytrim pull show quoll-1/p2")]
    Show {
        /// The pull, for example quoll-1/p2
        #[arg(value_name = "PULL", value_parser = parse_pull)]
        pull: String,
    },
}

/// Which logs to send, and as what.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    baytrim pull submit quoll-1 pull-1.csv pull-2.csv --bay east\n  \
    baytrim pull submit quoll-1 pull-1.csv --bay east --check   (record nothing)\n  \
    baytrim pull submit quoll-1 pull-1.csv --bay east --pressure-kpa 98.6 --temperature-c 24\n\n\
    With several logs the first failure stops; those before it are recorded.")]
pub(crate) struct SubmitArgs {
    /// The job, for example quoll-1
    #[arg(value_name = "JOB", value_parser = parse_job)]
    pub(crate) job: JobName,
    /// The logs, in the order in which they were pulled
    #[arg(value_name = "LOG", required = true)]
    pub(crate) logs: Vec<PathBuf>,
    /// The bay that they come from, as the job names it
    #[arg(long, value_name = "NAME")]
    pub(crate) bay: String,
    /// Channel map of these logs, instead of the bay's own
    #[arg(long, value_name = "FILE.toml")]
    pub(crate) channels: Option<PathBuf>,
    /// Table revision that was loaded in the vehicle [default: the one in force]
    #[arg(long, value_name = "rN", value_parser = parse_revision)]
    pub(crate) revision: Option<String>,
    /// Stage that the vehicle was in [default: the one begun last]
    #[arg(long, value_name = "sN", value_parser = parse_stage)]
    pub(crate) stage: Option<String>,
    /// Riding mode that the pull was run in, for example street [default: none is named]
    #[arg(long, value_name = "MODE")]
    pub(crate) mode: Option<String>,
    /// Revision of that mode's grip table that was loaded [default: the one in force]
    #[arg(long, value_name = "rN", value_parser = parse_revision)]
    pub(crate) grip_revision: Option<String>,
    /// Only read the logs and say what they are: record nothing
    #[arg(long)]
    pub(crate) check: bool,
    #[command(flatten)]
    pub(crate) conditions: ConditionsArgs,
}

/// The bay's air, where the log does not hold it.
#[derive(Debug, Args)]
#[command(next_help_heading = "The bay's air, where the log does not hold it")]
pub(crate) struct ConditionsArgs {
    /// Station pressure in kPa, not reduced to sea level
    #[arg(long, value_name = "KPA")]
    pressure_kpa: Option<f64>,
    /// Temperature in degrees Celsius
    #[arg(long, value_name = "C", allow_negative_numbers = true)]
    temperature_c: Option<f64>,
    /// Relative humidity in percent
    #[arg(long, value_name = "PERCENT")]
    humidity_percent: Option<f64>,
}

impl ConditionsArgs {
    /// Returns the air that was typed, none where nothing was.
    pub(crate) fn given(&self) -> Option<Conditions> {
        let conditions = Conditions {
            pressure_kpa: self.pressure_kpa,
            temperature_c: self.temperature_c,
            humidity_percent: self.humidity_percent,
        };
        (conditions != Conditions::default()).then_some(conditions)
    }
}
