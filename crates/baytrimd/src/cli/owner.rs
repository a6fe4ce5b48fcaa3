//! `baytrimd owner`: makes the shop's first member, and lets an owner in again whose token is lost.

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;

use anyhow::Context as _;
use baytrim_model::shop::MemberName;
use clap::Subcommand;

use super::place::LedgerPlace;
use super::{Failure, Options};
use crate::access::{Access, OWNER_FILE, RecoverError, establish_at, recover};
use crate::config::Settings;

/// What to do about an owner.
#[derive(Debug, Subcommand)]
pub(crate) enum Owner {
    /// Makes the shop's first member, for a ledger in a database that no daemon with a directory has served yet
    First {
        /// File that the token is written to, for its owner's eyes only
        #[arg(long, value_name = "FILE")]
        token_file: PathBuf,
        #[command(flatten)]
        options: Options,
    },
    /// Writes a new token for an owner, and makes all their others void; the daemon must be stopped
    Recover {
        /// Owner whose token is lost, where the shop has several
        #[arg(long, value_name = "NAME")]
        member: Option<MemberName>,
        /// Why, for the record
        #[arg(long, value_name = "TEXT")]
        reason: String,
        /// File that the token is written to [default: owner.token in the directory of --data]
        #[arg(long, value_name = "FILE")]
        token_file: Option<PathBuf>,
        #[command(flatten)]
        options: Options,
    },
}

impl Owner {
    pub(crate) fn run(self) -> Result<ExitCode, Failure> {
        match self {
            Self::First {
                token_file,
                options,
            } => first(&options.settings()?, &token_file),
            Self::Recover {
                member,
                reason,
                token_file,
                options,
            } => {
                let settings = options.settings()?;
                let in_data = || settings.data.as_ref().map(|data| data.join(OWNER_FILE));
                let file = token_file.or_else(in_data).ok_or_else(|| {
                    Failure::usage(anyhow::anyhow!(
                        "no file for the new token is named; give --token-file FILE"
                    ))
                })?;
                again(&settings, member.as_ref(), &reason, &file)
            }
        }
    }
}

fn open(settings: &Settings) -> Result<Access, Failure> {
    let place = LedgerPlace::of(settings)?;
    place.must_be_there()?;
    let store = place.open(&baytrim_ledger_local::Options::default())?;
    let access = Access::open(Arc::clone(&store), settings.data.as_deref())
        .context("the shop's members can't be read; run `baytrimd ledger verify`")?;
    Ok(access)
}

#[expect(clippy::print_stdout, reason = "this is the command line")]
fn first(settings: &Settings, file: &Path) -> Result<ExitCode, Failure> {
    let access = open(settings)?;
    let is_first = establish_at(&access, file).context("the shop's first member can't be made")?;
    if !is_first {
        return Err(anyhow::anyhow!(
            "the shop has members already; an owner issues tokens (`baytrim token issue`)"
        )
        .into());
    }
    println!("the owner's token is in {}", file.display());
    Ok(ExitCode::SUCCESS)
}

#[expect(clippy::print_stdout, reason = "this is the command line")]
fn again(
    settings: &Settings,
    member: Option<&MemberName>,
    reason: &str,
    file: &Path,
) -> Result<ExitCode, Failure> {
    let access = open(settings)?;
    let owner = recover(&access, file, member, reason).map_err(|error| match error {
        RecoverError::File { .. } => Failure::from(anyhow::Error::from(error)),
        other => Failure::usage(other),
    })?;
    println!("a new token of {owner} is in {}", file.display());
    println!("all others of {owner} are void; the shop's record keeps this and the reason");
    Ok(ExitCode::SUCCESS)
}
