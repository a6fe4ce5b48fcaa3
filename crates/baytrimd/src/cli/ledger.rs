//! `baytrimd ledger`: work on a ledger that no daemon has open.

use std::process::ExitCode;

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
}

impl Ledger {
    #[expect(clippy::print_stdout, reason = "this is the command line")]
    pub(crate) fn run(self) -> Result<ExitCode, Failure> {
        let Self::Verify(options) = self;
        let settings = options.settings()?;
        let data = Options::data(&settings)?;
        if !data.is_dir() {
            return Err(Failure::usage(anyhow::anyhow!(
                "{} is no directory; name the one that the daemon was started with",
                data.display()
            )));
        }
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
}
