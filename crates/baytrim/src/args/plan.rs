//! `baytrim plan`.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use crate::name::{JobName, parse_job, parse_pull_number};

/// What to plan.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    baytrim plan quoll-1\n  \
    baytrim plan quoll-1 --use street --seconds 90\n  \
    baytrim plan quoll-1 --use-map commute.csv")]
pub(crate) struct PlanArgs {
    /// The job, for example quoll-1
    #[arg(value_name = "JOB", value_parser = parse_job)]
    pub(crate) job: JobName,
    /// How the vehicle is used [default: wherever pulls have been]
    #[arg(long = "use", value_name = "street|track|wide-open", value_enum)]
    #[arg(hide_possible_values = true)]
    pub(crate) use_map: Option<Use>,
    /// A use of your own: one weight per node, in the form of a table as CSV
    #[arg(long = "use-map", value_name = "FILE.csv", conflicts_with = "use_map")]
    pub(crate) use_map_file: Option<PathBuf>,
    /// Dyno seconds that the plan may take, 10 to 3600 [default: 120]
    #[arg(long, value_name = "N", value_parser = parse_seconds)]
    pub(crate) seconds: Option<f64>,
    /// Tolerance of the stop rule in percent of lambda, 0.1 to 20 [default: 3]
    #[arg(long, value_name = "PERCENT", value_parser = parse_tolerance)]
    pub(crate) tolerance: Option<f64>,
    /// Pulls to leave out
    #[arg(long, value_name = "pN,...", value_delimiter = ',', value_parser = parse_pull_number)]
    pub(crate) without: Vec<String>,
}

/// How a vehicle is used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Use {
    /// Small and middling plate openings at lower speeds.
    Street,
    /// Large openings at higher speeds.
    Track,
    /// Plate wide open.
    WideOpen,
}

fn within(text: &str, low: f64, high: f64) -> Result<f64, String> {
    let value = text.parse().ok();
    value
        .filter(|value| (low..=high).contains(value))
        .ok_or_else(|| format!("write a number from {low} to {high}"))
}

fn parse_seconds(text: &str) -> Result<f64, String> {
    within(text, 10.0, 3600.0)
}

fn parse_tolerance(text: &str) -> Result<f64, String> {
    within(text, 0.1, 20.0)
}
