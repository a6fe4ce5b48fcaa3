//! `baytrimd ledger`: work on a ledger that no daemon has open.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context as _;
use baytrim_archive::RestoreError;
use clap::Subcommand;

use super::place::LedgerPlace;
use super::{EXIT_DAMAGED, Failure, Options};
use crate::ledger_check;

/// What to do with a ledger.
#[derive(Debug, Subcommand)]
pub(crate) enum Ledger {
    /// Checks every record, blob and job, and names the first fault
    Verify(Options),
    /// Makes a new ledger of a backup that `baytrim ledger backup` wrote
    Restore {
        /// The backup
        #[arg(value_name = "FILE")]
        file: PathBuf,
        #[command(flatten)]
        options: Options,
    },
}

impl Ledger {
    pub(crate) fn run(self) -> Result<ExitCode, Failure> {
        match self {
            Self::Verify(options) => verify(&options),
            Self::Restore { file, options } => restore(&file, &options),
        }
    }
}

/// Makes a new ledger of a backup, once all of it is proven.
#[expect(clippy::print_stdout, reason = "this is the command line")]
fn restore(file: &Path, options: &Options) -> Result<ExitCode, Failure> {
    let settings = options.settings()?;
    let place = LedgerPlace::of(&settings)?;
    let mut archive = File::open(file)
        .with_context(|| format!("{}: can't be read", file.display()))
        .map_err(Failure::usage)?;
    // Before anything is made: a broken backup leaves no half of a ledger.
    let named =
        |error: RestoreError| anyhow::Error::from(error).context(file.display().to_string());
    baytrim_archive::check(&mut archive).map_err(|error| Failure::usage(named(error.into())))?;
    place.must_be_new()?;
    let store = place.open(&baytrim_ledger_local::Options::default())?;
    if !store
        .streams("", None, 1)
        .map_err(anyhow::Error::from)?
        .is_empty()
    {
        return Err(Failure::usage(anyhow::anyhow!(
            "the database holds a ledger; name one that is empty"
        )));
    }
    let summary = baytrim_archive::restore(&mut archive, &*store).map_err(named)?;
    println!(
        "{} streams, {} records, {} blobs",
        summary.streams.len(),
        summary.record_count,
        summary.blobs.len()
    );
    let head = ledger_check::head_of_all(&*store).map_err(anyhow::Error::from)?;
    println!("head of the whole ledger: {head}");
    Ok(ExitCode::SUCCESS)
}

/// Checks every record, blob and job.
#[expect(clippy::print_stdout, reason = "this is the command line")]
fn verify(options: &Options) -> Result<ExitCode, Failure> {
    let settings = options.settings()?;
    let place = LedgerPlace::of(&settings)?;
    place.must_be_there()?;
    let options = baytrim_ledger_local::Options {
        check: baytrim_ledger_local::OpenCheck::Whole,
        ..baytrim_ledger_local::Options::default()
    };
    let store = place.open(&options)?;
    let check = ledger_check::check(&*store, &mut |_| ()).map_err(anyhow::Error::from)?;
    let report = &check.report;
    println!(
        "{} streams, {} records, {} blobs, {} jobs",
        report.stream_count, report.record_count, report.blob_count, check.job_count
    );
    println!("head of the whole ledger: {}", check.ledger_head);
    match check.first_fault {
        None => {
            println!("everything holds");
            Ok(ExitCode::SUCCESS)
        }
        Some(fault) => {
            println!("first fault: {fault}");
            Ok(ExitCode::from(EXIT_DAMAGED))
        }
    }
}
