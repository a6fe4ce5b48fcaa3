//! `baytrim ledger …`.

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
    /// List the records of a job, oldest first
    #[command(after_help = "Example:\n  baytrim ledger log quoll-1")]
    Log(JobArg),
}
