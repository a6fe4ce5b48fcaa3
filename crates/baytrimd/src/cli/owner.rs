//! `baytrimd owner`.

use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;

use anyhow::Context as _;
use clap::Args;

use super::place::LedgerPlace;
use super::{Failure, Options};
use crate::access::{Access, establish_at};

/// Makes the shop's first member, and writes its token into a file.
#[derive(Debug, Args)]
pub(crate) struct Owner {
    #[command(flatten)]
    options: Options,
    /// File that the token is written to, for its owner's eyes only
    #[arg(long, value_name = "FILE")]
    token_file: PathBuf,
}

impl Owner {
    #[expect(clippy::print_stdout, reason = "this is the command line")]
    pub(crate) fn run(self) -> Result<ExitCode, Failure> {
        let settings = self.options.settings()?;
        let place = LedgerPlace::of(&settings)?;
        let store = place.open(&baytrim_ledger_local::Options::default())?;
        let access = Access::open(Arc::clone(&store), None)
            .context("the shop's members can't be read; run `baytrimd ledger verify`")?;
        let is_first = establish_at(&access, &self.token_file)
            .context("the shop's first member can't be made")?;
        if !is_first {
            return Err(anyhow::anyhow!(
                "the shop has members already; an owner issues tokens (`baytrim token issue`)"
            )
            .into());
        }
        println!("the owner's token is in {}", self.token_file.display());
        Ok(ExitCode::SUCCESS)
    }
}
