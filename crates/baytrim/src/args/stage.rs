//! `baytrim stage …`.

use clap::{Args, Subcommand, ValueEnum};

use super::{JobArg, ReasonArg};
use crate::name::{parse_pull, parse_stage};

/// Says which state of the vehicle pulls belong to, and compares them.
#[derive(Debug, Subcommand)]
pub(crate) enum StageCommand {
    /// Begin a stage: pulls belong to it from now on
    Begin(BeginArgs),
    /// List the stages of a job with their pulls
    #[command(after_help = "Example:\n  baytrim stage list quoll-1")]
    List(JobArg),
    /// Put a pull under another stage than it was recorded under
    #[command(
        after_help = "Example:\n  baytrim stage assign quoll-1/p3 s2 --reason \"the silencer was on already\""
    )]
    Assign {
        /// The pull, for example quoll-1/p3
        #[arg(value_name = "PULL", value_parser = parse_pull)]
        pull: String,
        /// The stage that it belongs to
        #[arg(value_name = "sN", value_parser = parse_stage)]
        stage: String,
        #[command(flatten)]
        reason: ReasonArg,
    },
    /// Compare two stages: how far lambda is off target, and what is inside the noise of repeated pulls
    #[command(after_help = "Example:\n  baytrim stage compare quoll-1 s1 s4")]
    Compare {
        #[command(flatten)]
        job: JobArg,
        /// The stage to compare with
        #[arg(value_name = "FROM", value_parser = parse_stage)]
        from: String,
        /// The stage to compare
        #[arg(value_name = "TO", value_parser = parse_stage)]
        to: String,
    },
}

/// What stage to begin.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    baytrim stage begin quoll-1 parts-fitted --notes \"open silencer, airbox lid off\"\n  \
    baytrim stage begin quoll-1 parts-fitted --title \"second silencer\"\n  \
    baytrim stage begin quoll-1 other --title \"overrun cut out\" --overrun off --secondary-air blocked")]
pub(crate) struct BeginArgs {
    #[command(flatten)]
    pub(crate) job: JobArg,
    /// What the stage is
    #[arg(value_name = "KIND", value_enum)]
    pub(crate) kind: Kind,
    /// What people call it [default: the usual words for its kind]
    #[arg(long, value_name = "TEXT", required_if_eq("kind", "other"))]
    pub(crate) title: Option<String>,
    /// Which parts, which table; it goes on record
    #[arg(long, value_name = "TEXT")]
    pub(crate) notes: Option<String>,
    /// Whether fuel is cut on the overrun from now on
    #[arg(long, value_name = "on|off|above:RPM", value_parser = parse_overrun)]
    pub(crate) overrun: Option<(String, Option<f64>)>,
    /// Fresh air into the exhaust from now on
    #[arg(long, value_name = "none|active|blocked", value_parser = ["none", "active", "blocked"])]
    #[arg(hide_possible_values = true)]
    pub(crate) secondary_air: Option<String>,
}

fn parse_overrun(text: &str) -> Result<(String, Option<f64>), String> {
    let rpm = text.strip_prefix("above:").map(str::parse);
    match (text, rpm) {
        ("on" | "off", _) => Ok((text.to_owned(), None)),
        (_, Some(Ok(rpm))) => Ok(("above_rpm".to_owned(), Some(rpm))),
        _ => Err("write on, off, or above: and an engine speed, such as above:4500".to_owned()),
    }
}

/// What a stage is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Kind {
    /// The vehicle as it came
    AsItCame,
    /// Parts are fitted, the table is the old one
    PartsFitted,
    /// A starting table is loaded
    StartingTable,
    /// The table was corrected from pulls
    Tuned,
    /// Something else, which its title says
    Other,
}
