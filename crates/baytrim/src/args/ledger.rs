//! `baytrim ledger …`.

use std::path::PathBuf;

use clap::Subcommand;

use super::JobArg;

/// Reads the ledger and proves it.
#[derive(Debug, Subcommand)]
pub(crate) enum LedgerCommand {
    /// Check every record, log and table of the whole ledger, and name the first fault
    #[command(
        after_help = "Example:\n  baytrim ledger verify && echo intact\n\nExit code 1 where it is not intact."
    )]
    Verify,
    /// Write the whole ledger into one file, as it is at this moment, while the server goes on
    #[command(
        after_help = "Example:\n  baytrim ledger backup --output shop-2026-11-25.tar\n  baytrimd ledger restore shop-2026-11-25.tar --data NEWDIR"
    )]
    Backup {
        /// The file to write; it must not be there yet
        #[arg(long, value_name = "FILE")]
        output: PathBuf,
    },
    /// List the records of a job, oldest first
    #[command(after_help = "Example:\n  baytrim ledger log quoll-1")]
    Log(JobArg),
}
