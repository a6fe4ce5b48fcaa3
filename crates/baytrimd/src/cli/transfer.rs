//! `baytrimd move`.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;

use super::place::LedgerPlace;
use super::{EXIT_DAMAGED, Failure};
use crate::ledger_check;
use crate::transfer::{TransferError, transfer};

/// Moves a whole ledger between a directory and a database, either way, and proves it on arrival.
///
/// Stop every daemon that serves the source first. The source stays as it is. A move that broke off goes on where it
/// was when it is told again.
#[derive(Debug, Args)]
pub(crate) struct Transfer {
    /// Directory or postgres:// address that the ledger is in
    #[arg(long, value_name = "DIR|URL")]
    from: String,
    /// Directory or postgres:// address that it goes to: an empty one, or that of a move that broke off
    #[arg(long, value_name = "DIR|URL")]
    to: String,
    /// File with nothing but the password of the database
    #[arg(long, value_name = "FILE")]
    password_file: Option<PathBuf>,
    /// A database without a second copy of each record is good enough
    #[arg(long)]
    single_copy: bool,
    /// Object storage that holds the blobs of the database, `s3://BUCKET/FOLDER`
    #[arg(long, value_name = "URL")]
    blobs: Option<String>,
}

impl Transfer {
    #[expect(
        clippy::print_stdout,
        clippy::print_stderr,
        reason = "this is the command line"
    )]
    pub(crate) fn run(self) -> Result<ExitCode, Failure> {
        let place = |text: &str| {
            let (password_file, blobs) = (self.password_file.as_deref(), self.blobs.as_deref());
            LedgerPlace::named(text, password_file, self.single_copy, blobs)
        };
        let (from, to) = (place(&self.from), place(&self.to));
        if self.from == self.to {
            return Err(Failure::usage(anyhow::anyhow!(
                "--from and --to are the same; name two places"
            )));
        }
        let is_database = |place: &LedgerPlace| matches!(place, LedgerPlace::Database(_));
        if self.blobs.is_some() && !is_database(&from) && !is_database(&to) {
            return Err(Failure::usage(anyhow::anyhow!(
                "--blobs goes with a database, and neither place is one: a directory keeps its own blobs; leave it out"
            )));
        }
        from.must_be_there()?;
        let options = baytrim_ledger_local::Options::default();
        let source = from.open(&options)?;
        let target = to.open(&options)?;
        let mut told = 0;
        let moved = transfer(&*source, &*target, &mut |moved| {
            // A line for each 64 MiB: enough to see that it goes on.
            if moved.blob_bytes >> 26 > told {
                told = moved.blob_bytes >> 26;
                eprintln!("{} blobs, {} MiB", moved.blob_count, moved.blob_bytes >> 20);
            }
        });
        let moved = moved.map_err(|error| match error {
            TransferError::OtherLedger { .. } => Failure::usage(error),
            TransferError::Changed { .. } => Failure {
                code: EXIT_DAMAGED,
                error: error.into(),
            },
            other => anyhow::Error::from(other).into(),
        })?;
        println!(
            "{} records ({} were there), {} blobs ({} were there), {} live pulls",
            moved.record_count,
            moved.known_record_count,
            moved.blob_count,
            moved.known_blob_count,
            moved.spool_count
        );
        let check = ledger_check::check(&*target, &mut |_| ()).map_err(anyhow::Error::from)?;
        if let Some(fault) = check.first_fault {
            println!("first fault in the target: {fault}");
            return Ok(ExitCode::from(EXIT_DAMAGED));
        }
        println!("head of the whole ledger: {}", check.ledger_head);
        println!("everything holds");
        Ok(ExitCode::SUCCESS)
    }
}
