//! `baytrim table …` and `revert`.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};

use super::{JobArg, ReasonArg};
use crate::name::parse_revision;

/// Looks at tables and exports them.
#[derive(Debug, Subcommand)]
pub(crate) enum TableCommand {
    /// Show a table: its values and the fuel change from the base table
    #[command(
        after_help = "Examples:\n  baytrim table show quoll-1\n  baytrim table show quoll-1 --revision r0"
    )]
    Show {
        #[command(flatten)]
        job: JobArg,
        #[command(flatten)]
        revision: RevisionArg,
    },
    /// Show what changed between two revisions of a job's table
    #[command(
        after_help = "Examples:\n  baytrim table diff quoll-1 --from r1\n  baytrim table diff quoll-1 --from r0 --to r2"
    )]
    Diff {
        #[command(flatten)]
        job: JobArg,
        /// The revision to start from
        #[arg(long, value_name = "rN", value_parser = parse_revision)]
        from: String,
        /// The revision to compare it with [default: the one in force]
        #[arg(long, value_name = "rN", value_parser = parse_revision)]
        to: Option<String>,
    },
    /// List the revisions of a job's table, newest first
    #[command(after_help = "Example:\n  baytrim table list quoll-1")]
    List(JobArg),
    /// Write a table in a form that leaves the house; the export goes on record
    Export(ExportArgs),
}

/// A revision by number.
#[derive(Debug, Args)]
pub(crate) struct RevisionArg {
    /// The revision [default: the one in force]
    #[arg(long, value_name = "rN", value_parser = parse_revision)]
    pub(crate) revision: Option<String>,
}

/// What to export, and how.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    baytrim table export quoll-1 --format csv --output quoll-1.csv\n  \
    baytrim table export quoll-1 --format json --as percent")]
pub(crate) struct ExportArgs {
    #[command(flatten)]
    pub(crate) job: JobArg,
    /// File format
    #[arg(long, value_enum)]
    pub(crate) format: ExportFormat,
    /// What the numbers become; who acts goes before `table`: baytrim --as NAME table export …
    #[arg(long = "as", value_enum, default_value_t = ExportQuantity::Value, value_name = "QUANTITY")]
    pub(crate) quantity: ExportQuantity,
    /// Which axis runs down
    #[arg(long, value_enum, default_value_t = ExportRows::Plate)]
    pub(crate) rows: ExportRows,
    /// Digits after the point [default: as many as there are]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(0..=9))]
    pub(crate) decimals: Option<u32>,
    #[command(flatten)]
    pub(crate) revision: RevisionArg,
    /// File to write [default: standard output]
    #[arg(long, value_name = "FILE")]
    pub(crate) output: Option<PathBuf>,
}

/// File format of an export.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum ExportFormat {
    /// Comma-separated values.
    Csv,
    /// JSON.
    Json,
    /// The numbers alone, separated by tabs, to be pasted into a grid.
    Grid,
}

/// What the numbers of an export become.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum ExportQuantity {
    /// Fuel change from the base table in percent.
    Percent,
    /// Fuel factor on the base table.
    Factor,
    /// The table's own values.
    Value,
}

/// Which axis of an export runs down.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum ExportRows {
    /// One row per engine speed.
    Rpm,
    /// One row per plate angle.
    Plate,
}

/// What to put back.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  baytrim revert quoll-1 --to r1 --reason \"r2 hunts at idle\"")]
pub(crate) struct RevertArgs {
    #[command(flatten)]
    pub(crate) job: JobArg,
    /// The earlier revision; r0 is the base table
    #[arg(long, value_name = "REVISION", value_parser = parse_revision)]
    pub(crate) to: String,
    #[command(flatten)]
    pub(crate) reason: ReasonArg,
}
