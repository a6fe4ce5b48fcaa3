//! `baytrim power`.

use baytrim_api::v1::PowerStandard;
use clap::{Args, ValueEnum};

use crate::name::{JobName, parse_job, parse_pull_number};

/// Whose power to show.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    baytrim power quoll-1\n  \
    baytrim power quoll-1 p2 p5 --standard sae-j1349\n\n\
    Power is that at the roller: losses of gearbox, chain and tyre are in it.")]
pub(crate) struct PowerArgs {
    /// The job, for example quoll-1
    #[arg(value_name = "JOB", value_parser = parse_job)]
    pub(crate) job: JobName,
    /// The pulls, 12 at the most [default: the newest that have a curve]
    #[arg(value_name = "pN", value_parser = parse_pull_number)]
    pub(crate) pulls: Vec<String>,
    /// The standard of air to correct to [default: the job's]
    #[arg(long, value_name = "sae-j1349|iso-1585|din-70020", value_enum)]
    #[arg(hide_possible_values = true)]
    pub(crate) standard: Option<Standard>,
}

/// A standard of power correction.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Standard {
    /// SAE J1349, edition of June 1990.
    #[value(name = "sae-j1349", alias = "sae_j1349")]
    SaeJ1349,
    /// ISO 1585 (UN R85).
    #[value(name = "iso-1585", alias = "iso_1585")]
    Iso1585,
    /// DIN 70020 in its old form.
    #[value(name = "din-70020", alias = "din_70020")]
    Din70020,
}

impl Standard {
    /// Returns it as the wire has it.
    pub(crate) fn on_wire(self) -> PowerStandard {
        match self {
            Self::SaeJ1349 => PowerStandard::SaeJ1349,
            Self::Iso1585 => PowerStandard::Iso1585,
            Self::Din70020 => PowerStandard::Din70020,
        }
    }
}
