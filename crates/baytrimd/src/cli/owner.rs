//! `baytrimd owner`: lets an owner in again whose token is lost.

use std::process::ExitCode;
use std::sync::Arc;

use anyhow::Context as _;
use baytrim_ledger_local::LocalStore;
use baytrim_model::shop::MemberName;
use clap::Subcommand;

use super::serve::not_opened;
use super::{Failure, Options};
use crate::access::{Access, RecoverError, recover};

/// What to do about an owner.
#[derive(Debug, Subcommand)]
pub(crate) enum Owner {
    /// Writes a new token for an owner, and makes all their others void; the daemon must be stopped
    Recover {
        /// Owner whose token is lost, where the shop has several
        #[arg(long, value_name = "NAME")]
        member: Option<MemberName>,
        /// Why, for the record
        #[arg(long, value_name = "TEXT")]
        reason: String,
        #[command(flatten)]
        options: Options,
    },
}

impl Owner {
    #[expect(clippy::print_stdout, reason = "this is the command line")]
    pub(crate) fn run(self) -> Result<ExitCode, Failure> {
        let Self::Recover {
            member,
            reason,
            options,
        } = self;
        let settings = options.settings()?;
        let data = Options::kept(&settings)?;
        let (store, _) = LocalStore::open(data, &baytrim_ledger_local::Options::default())
            .map_err(not_opened)?;
        let access = Access::open(Arc::new(store), Some(data))
            .context("the shop's members can't be read; run `baytrimd ledger verify`")?;
        let (owner, file) =
            recover(&access, data, member.as_ref(), &reason).map_err(|error| match error {
                RecoverError::File { .. } => Failure::from(anyhow::Error::from(error)),
                other => Failure::usage(other),
            })?;
        println!("a new token of {owner} is in {}", file.display());
        println!("all others of {owner} are void; the shop's record keeps this and the reason");
        Ok(ExitCode::SUCCESS)
    }
}
