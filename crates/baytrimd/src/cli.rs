//! The daemon's command line.

mod config;
mod ledger;
mod options;
mod owner;
mod place;
mod serve;
mod tls;
mod transfer;

use std::process::ExitCode;

use clap::{Parser, Subcommand};

use options::Options;

use crate::demo::Demo;

/// The daemon of Baytrim: keeps a shop's jobs and serves them to its clients.
#[derive(Debug, Parser)]
#[command(name = "baytrimd", version, after_help = EXAMPLES)]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
}

const EXAMPLES: &str = "Examples:
  baytrimd demo
  baytrimd serve --data /var/lib/baytrim
  baytrimd tls init --data /var/lib/baytrim --name shop-pc --name 192.168.1.20
  baytrimd serve --store postgres://baytrim@db1,db2/baytrim?sslrootcert=/etc/baytrim/db-ca.pem
  baytrimd move --from /var/lib/baytrim --to postgres://baytrim@db1,db2/baytrim
  baytrimd config show --config /etc/baytrim/baytrimd.toml
  baytrimd ledger verify --data /var/lib/baytrim

Exit codes: 0 done, 1 failed, 2 usage or configuration, 3 the ledger is damaged or incomplete.";

#[derive(Debug, Subcommand)]
enum Command {
    /// Serves the API and the review page until it is told to stop.
    Serve(serve::Serve),
    /// Says what the daemon is told, and where from.
    #[command(subcommand)]
    Config(config::Config),
    /// Shows the main job on invented data: logs in, proposal out.
    Demo(Demo),
    /// Moves a whole ledger between a directory and a database, either way.
    Move(transfer::Transfer),
    /// Works on a ledger that no daemon has open.
    #[command(subcommand)]
    Ledger(ledger::Ledger),
    /// Makes the shop's first member, or lets an owner in again whose token is lost
    #[command(subcommand)]
    Owner(owner::Owner),
    /// Makes what the daemon needs to be talked to without others listening
    #[command(subcommand)]
    Tls(tls::TlsCommand),
}

/// Returns the directory where the command line of the same user looks for the names of token files.
pub(crate) fn places_directory() -> Option<std::path::PathBuf> {
    Options::places()
}

/// Exit code of a wrong command line or configuration.
pub const EXIT_USAGE: u8 = 2;

/// Exit code of a ledger that is damaged or incomplete.
pub const EXIT_DAMAGED: u8 = 3;

/// A failure with its exit code.
#[derive(Debug)]
pub(crate) struct Failure {
    pub(crate) code: u8,
    pub(crate) error: anyhow::Error,
}

impl Failure {
    pub(crate) fn usage(error: impl Into<anyhow::Error>) -> Self {
        Self {
            code: EXIT_USAGE,
            error: error.into(),
        }
    }
}

impl From<anyhow::Error> for Failure {
    fn from(error: anyhow::Error) -> Self {
        Self { code: 1, error }
    }
}

/// Runs the command line of this process.
pub fn main() -> ExitCode {
    run(Cli::parse())
}

/// Runs a command line that was read.
#[expect(clippy::print_stderr, reason = "this is the command line")]
pub fn run(cli: Cli) -> ExitCode {
    let done = match cli.command {
        Command::Serve(command) => command.run(),
        Command::Config(command) => command.run(),
        Command::Demo(command) => command.run(),
        Command::Owner(command) => command.run(),
        Command::Move(command) => command.run(),
        Command::Ledger(command) => command.run(),
        Command::Tls(command) => command.run(),
    };
    match done {
        Ok(code) => code,
        Err(Failure { code, error }) => {
            eprintln!("baytrimd: {error:#}");
            ExitCode::from(code)
        }
    }
}
