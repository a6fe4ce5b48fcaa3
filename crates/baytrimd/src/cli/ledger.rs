//! `baytrimd ledger`: work on a ledger that no daemon has open.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context as _;
use baytrim_archive::RestoreError;
use baytrim_ledger_local::LocalStore;
use clap::Subcommand;

use super::serve::not_opened;
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
    let data = Options::data(&settings)?;
    let mut archive = File::open(file)
        .with_context(|| format!("{}: can't be read", file.display()))
        .map_err(Failure::usage)?;
    // Before anything is made: a broken backup leaves no half of a ledger.
    let named =
        |error: RestoreError| anyhow::Error::from(error).context(file.display().to_string());
    baytrim_archive::check(&mut archive).map_err(|error| Failure::usage(named(error.into())))?;
    let is_used =
        data.exists() && std::fs::read_dir(data).is_ok_and(|mut entries| entries.next().is_some());
    if is_used {
        return Err(Failure::usage(anyhow::anyhow!(
            "{} is there and not empty; name a new directory",
            data.display()
        )));
    }
    let (store, _) =
        LocalStore::open(data, &baytrim_ledger_local::Options::default()).map_err(not_opened)?;
    let summary = baytrim_archive::restore(&mut archive, &store).map_err(named)?;
    println!(
        "{} streams, {} records, {} blobs",
        summary.streams.len(),
        summary.record_count,
        summary.blobs.len()
    );
    let head = ledger_check::head_of_all(&store).map_err(anyhow::Error::from)?;
    println!("head of the whole ledger: {head}");
    Ok(ExitCode::SUCCESS)
}

/// Checks every record, blob and job.
#[expect(clippy::print_stdout, reason = "this is the command line")]
fn verify(options: &Options) -> Result<ExitCode, Failure> {
    let settings = options.settings()?;
    let data = Options::kept(&settings)?;
    let options = baytrim_ledger_local::Options {
        check: baytrim_ledger_local::OpenCheck::Whole,
        ..baytrim_ledger_local::Options::default()
    };
    let (store, _) = LocalStore::open(data, &options).map_err(not_opened)?;
    let check = ledger_check::check(&store, &mut |_| ()).map_err(anyhow::Error::from)?;
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
