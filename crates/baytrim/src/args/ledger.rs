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
    Verify {
        /// Checkpoint that was kept elsewhere: the ledger must hold what it signed
        #[arg(long, value_name = "FILE")]
        checkpoint: Option<PathBuf>,
    },
    /// Have the whole ledger signed as it is now, and write that into one small file
    #[command(
        after_help = "Example:\n  baytrim ledger checkpoint --output shop-2026-11-25.txt\n  baytrim ledger verify-checkpoint shop-2026-11-25.txt --key KEY"
    )]
    Checkpoint {
        /// The file to write; it must not be there yet
        #[arg(long, value_name = "FILE")]
        output: PathBuf,
    },
    /// Write a small file that shows a stranger that a checkpoint signed a job
    #[command(after_help = "Example:\n  baytrim ledger proof quoll-1 --output quoll-1.proof.json")]
    Proof {
        #[command(flatten)]
        job: JobArg,
        /// Number of the checkpoint [default: the last]
        #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..))]
        checkpoint: Option<u64>,
        /// The file to write; it must not be there yet
        #[arg(long, value_name = "FILE")]
        output: PathBuf,
    },
    /// Check a checkpoint or a proof with the public key alone, without any server
    #[command(
        after_help = "Example:\n  baytrim ledger verify-checkpoint shop-2026-11-25.txt --key shop.key\n\nExit code 1 where it does not hold."
    )]
    VerifyCheckpoint {
        /// The checkpoint, or the proof
        #[arg(value_name = "FILE")]
        file: PathBuf,
        /// Public key, or a file with it
        #[arg(long, value_name = "KEY")]
        key: String,
    },
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
