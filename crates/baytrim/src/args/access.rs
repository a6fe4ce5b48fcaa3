//! `baytrim member …`, `token …`, `policy …`.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};

use crate::name::{BayName, parse_bay};

/// Says who belongs to the shop.
#[derive(Debug, Subcommand)]
pub(crate) enum MemberCommand {
    /// Make a person, a bay or a script known
    Add(MemberArgs),
    /// Give a member other roles: all of them, as from now on
    Set(MemberArgs),
    /// Make a member and all its tokens void
    Remove(RemoveArgs),
    /// List the members that there are and were
    #[command(after_help = "Example:\n  baytrim member list")]
    List,
}

/// A member as it is to be.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    baytrim member add \"R. Quenby\" --role reviewer\n  \
    baytrim member add bay-east --role bay --bay east\n  \
    baytrim member add night-run --role tuner --answered-by \"M. Ottoway\"")]
pub(crate) struct MemberArgs {
    /// Its name, as records are to carry it
    #[arg(value_name = "NAME")]
    pub(crate) member: String,
    /// What it may do; several by commas
    #[arg(
        long = "role",
        value_name = "ROLE",
        required = true,
        value_delimiter = ','
    )]
    pub(crate) roles: Vec<RoleName>,
    /// The one bay whose pulls it may submit
    #[arg(long, value_name = "BAY", value_parser = parse_bay)]
    pub(crate) bay: Option<BayName>,
    /// The person who answers for it, where it is a script
    #[arg(long, value_name = "NAME")]
    pub(crate) answered_by: Option<String>,
}

/// What a member may do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum RoleName {
    /// Submits pulls
    Bay,
    /// Opens jobs, submits pulls, has proposals computed
    Tuner,
    /// Gives verdicts and puts revisions back
    Reviewer,
    /// Says who may do what
    Owner,
}

/// Which member to remove.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  baytrim member remove night-run --reason \"runs no more\"")]
pub(crate) struct RemoveArgs {
    /// Its name
    #[arg(value_name = "NAME")]
    pub(crate) member: String,
    /// Why, in your own words; it goes on record
    #[arg(long, value_name = "TEXT")]
    pub(crate) reason: String,
}

/// Says who has which token.
#[derive(Debug, Subcommand)]
pub(crate) enum TokenCommand {
    /// Issue a token, into a file that only you may read
    Issue(IssueArgs),
    /// Make a token void
    Revoke(RevokeArgs),
    /// List the tokens that were issued
    #[command(after_help = "Example:\n  baytrim token list")]
    List,
}

/// Whose token to issue.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    baytrim token issue \"R. Quenby\" --output quenby.token\n  \
    baytrim token issue bay-east --days 365 --output bay-east.token\n\n\
    The token is shown nowhere else, and can't be had again: issue another where it is lost.")]
pub(crate) struct IssueArgs {
    /// Whom it is to stand for
    #[arg(value_name = "NAME")]
    pub(crate) member: String,
    /// Days for which it is to be good [default: for ever]
    #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(i32).range(1..=3660))]
    pub(crate) days: Option<i32>,
    /// New file to write it to, readable by you alone
    #[arg(long, value_name = "FILE", required_unless_present = "print")]
    pub(crate) output: Option<PathBuf>,
    /// Print it instead; terminals and logs remember
    #[arg(long, conflicts_with = "output")]
    pub(crate) print: bool,
}

/// Which token to revoke.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  baytrim token revoke k3fz7q2a --reason \"tablet lost\"")]
pub(crate) struct RevokeArgs {
    /// Its public name, as `baytrim token list` shows it
    #[arg(value_name = "TOKEN")]
    pub(crate) token_id: String,
    /// Why, in your own words; it goes on record
    #[arg(long, value_name = "TEXT")]
    pub(crate) reason: String,
}

/// Says by which rules the shop works.
#[derive(Debug, Subcommand)]
pub(crate) enum PolicyCommand {
    /// Show the rules in force
    #[command(after_help = "Example:\n  baytrim policy show")]
    Show,
    /// Set rules; those not named stay as they are
    Set(PolicyArgs),
}

/// Which rules to set.
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  baytrim policy set --one-person true --reason \"I work alone\""
)]
pub(crate) struct PolicyArgs {
    /// Whether one person does everything: who proposed may approve, and every verdict says so
    #[arg(long, value_name = "true|false")]
    pub(crate) one_person: Option<bool>,
    /// Days for which a new proposal can be approved; 0: for ever
    #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(i64).range(0..=3660))]
    pub(crate) proposal_days: Option<i64>,
    /// Why, in your own words; it goes on record
    #[arg(long, value_name = "TEXT")]
    pub(crate) reason: String,
}
