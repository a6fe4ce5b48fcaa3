//! `baytrimd ledger`: work on a ledger that no daemon has open.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context as _;
use baytrim_archive::RestoreError;
use baytrim_checkpoint::Verifier;
use clap::Subcommand;

use super::place::LedgerPlace;
use super::{EXIT_DAMAGED, Failure, Options};
use crate::checkpoints;
use crate::ledger_check;

/// What to do with a ledger.
#[derive(Debug, Subcommand)]
pub(crate) enum Ledger {
    /// Checks every record, blob, job and checkpoint, and names the first fault
    Verify {
        #[command(flatten)]
        options: Options,
        /// Checkpoint that was kept elsewhere: the ledger must hold what it signed
        #[arg(long, value_name = "FILE")]
        checkpoint: Option<PathBuf>,
        /// Public key that it must be signed with, or a file with it [default: that of the ledger]
        #[arg(long, value_name = "KEY", requires = "checkpoint")]
        key: Option<String>,
    },
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
            Self::Verify {
                options,
                checkpoint,
                key,
            } => verify(&options, checkpoint.as_deref(), key.as_deref()),
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

/// Checks every record, blob, job and checkpoint.
#[expect(clippy::print_stdout, reason = "this is the command line")]
fn verify(
    options: &Options,
    checkpoint: Option<&Path>,
    key: Option<&str>,
) -> Result<ExitCode, Failure> {
    let elsewhere = checkpoint.map(read).transpose()?;
    let key = key.map(verifier).transpose()?;
    let settings = options.settings()?;
    let place = LedgerPlace::of(&settings)?;
    place.must_be_there()?;
    let options = baytrim_ledger_local::Options {
        check: baytrim_ledger_local::OpenCheck::Whole,
        ..baytrim_ledger_local::Options::default()
    };
    let store = place.open(&options)?;
    let mut check = ledger_check::check(&*store, &mut |_| ()).map_err(anyhow::Error::from)?;
    if let Some(elsewhere) = &elsewhere
        && check.first_fault.is_none()
    {
        let compared = checkpoints::compare(&*store, elsewhere, key.as_ref());
        check.first_fault = compared.map_err(anyhow::Error::from)?;
    }
    let report = &check.report;
    println!(
        "streams {}, records {}, blobs {}, jobs {}",
        report.stream_count, report.record_count, report.blob_count, check.job_count
    );
    println!("head of the whole ledger: {}", check.ledger_head);
    if check.removed_log_count > 0 {
        println!("{} raw logs removed by rule", check.removed_log_count);
    }
    match check.checkpoint_count {
        0 => {}
        1 => println!("1 signed checkpoint"),
        count => println!("{count} signed checkpoints"),
    }
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

fn read(path: &Path) -> Result<String, Failure> {
    std::fs::read_to_string(path)
        .with_context(|| format!("{}: can't be read", path.display()))
        .map_err(Failure::usage)
}

/// Returns the public key that `text` is, or that is in the file of that name.
fn verifier(text: &str) -> Result<Verifier, Failure> {
    let key = match text.parse() {
        Ok(key) => Ok(key),
        Err(_) => read(Path::new(text))?.parse(),
    };
    key.map_err(Failure::usage)
}
