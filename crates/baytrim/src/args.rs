//! What can be typed.

use std::ffi::OsString;
use std::path::PathBuf;
use std::time::Duration;

use clap::{
    Arg, ArgMatches, Args, CommandFactory as _, FromArgMatches as _, Parser, Subcommand, ValueEnum,
};
use clap_complete::Shell;

use crate::name::{JobName, parse_job};

pub(crate) mod access;
pub(crate) mod channels;
pub(crate) mod grip;
pub(crate) mod job;
pub(crate) mod ledger;
pub(crate) mod library;
pub(crate) mod plan;
pub(crate) mod power;
pub(crate) mod proposal;
pub(crate) mod pull;
pub(crate) mod stage;
pub(crate) mod table;
pub(crate) mod trace;

use access::{MemberCommand, PolicyCommand, TokenCommand};
use channels::{BayCommand, ChannelsCommand};
use grip::GripCommand;
use job::JobCommand;
use ledger::LedgerCommand;
use library::LibraryCommand;
use plan::PlanArgs;
use power::PowerArgs;
use proposal::{ApproveArgs, CommentArgs, ProposalCommand, ProposeArgs, RejectArgs};
use pull::PullCommand;
use stage::StageCommand;
use table::{RevertArgs, TableCommand};
use trace::TraceArgs;

/// Identifier of `--as` wherever it says who acts.
const ACTOR: &str = "actor";

const EXAMPLES: &str = "\
Examples, from log to table:
  baytrim job open quoll.toml
  baytrim pull submit quoll-1 pull-1.csv pull-2.csv --bay east
  baytrim propose quoll-1
  baytrim approve quoll-1/c1 --reason \"holds looked right, knock quiet\"
  baytrim table export quoll-1 --format csv --output quoll-1.csv

Exit codes: 0 done, 1 failed, 2 usage, 3 refused by the server's state, 4 not permitted,
5 server not reachable.

What comes out is advice: a licensed, competent person decides what an engine runs on.";

/// Trims fuel tables from logged dyno pulls: sends logs, shows proposals, records verdicts.
#[derive(Debug, Parser)]
#[command(name = "baytrim", bin_name = "baytrim", version, after_help = EXAMPLES)]
#[command(
    subcommand_required = true,
    arg_required_else_help = true,
    propagate_version = false
)]
pub(crate) struct Cli {
    #[command(flatten)]
    pub(crate) global: Global,
    #[command(subcommand)]
    pub(crate) command: Command,
}

/// What holds for every command.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "Options for every command")]
pub(crate) struct Global {
    /// The server's address.
    #[arg(long, global = true, value_name = "URL")]
    #[arg(help = "Server to ask [env: BAYTRIM_SERVER] [default: http://127.0.0.1:7411]")]
    pub(crate) server: Option<String>,
    /// Where the token is.
    #[arg(long, global = true, value_name = "FILE")]
    #[arg(
        help = "File that holds the token [env: BAYTRIM_TOKEN_FILE] [default: that of a daemon on this machine]"
    )]
    pub(crate) token_file: Option<PathBuf>,
    /// Whom the server is proven by.
    #[arg(long, global = true, value_name = "FILE")]
    #[arg(
        help = "Certificate of the authority that proves the server [env: BAYTRIM_CA_FILE] [default: authority.pem beside the token]"
    )]
    pub(crate) ca_file: Option<PathBuf>,
    /// What proves the caller beside the token.
    #[arg(long, global = true, value_name = "FILE")]
    #[arg(
        help = "Own certificate with its key, where bays show one [env: BAYTRIM_CERTIFICATE] [default: NAME.pem beside NAME.token]"
    )]
    pub(crate) certificate: Option<PathBuf>,
    /// Whose token to show, of those found on this machine; refused where it is another's
    // Not `global`: `table export` has another `--as`. `parse` adds it to all other commands.
    #[arg(id = ACTOR, long = "as", value_name = "NAME")]
    pub(crate) actor: Option<String>,
    /// Print one JSON object, its keys as docs/cli.md lists them
    #[arg(long, global = true)]
    pub(crate) json: bool,
    /// When to use colour.
    #[arg(long, global = true, value_enum, default_value_t = ColorChoice::Auto)]
    #[arg(value_name = "auto|always|never", hide_possible_values = true)]
    #[arg(help = "When to use colour; auto heeds NO_COLOR")]
    pub(crate) color: ColorChoice,
    /// Give up after so many seconds [default: 30; proposals 120, logs and checks 600]
    #[arg(long, global = true, value_name = "SECONDS", value_parser = parse_deadline)]
    pub(crate) deadline: Option<Duration>,
}

/// When to use colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum ColorChoice {
    /// On a terminal, unless `NO_COLOR` is set or `TERM` is `dumb`.
    #[value(help = None)]
    Auto,
    /// Even into a file or a pipe.
    #[value(help = None)]
    Always,
    /// Never.
    #[value(help = None)]
    Never,
}

/// One thing to do.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Open jobs and look at them
    #[command(subcommand)]
    Job(JobCommand),
    /// Send logs of pulls and look at what was made of them
    #[command(subcommand)]
    Pull(PullCommand),
    /// Say which state of the vehicle pulls belong to, and compare such states
    #[command(subcommand)]
    Stage(StageCommand),
    /// Look at what the shop's own jobs teach, and start a job from them
    #[command(subcommand)]
    Library(LibraryCommand),
    /// Find out which column of a log is which quantity
    #[command(subcommand)]
    Channels(ChannelsCommand),
    /// Lay power and torque of pulls side by side, at standard air, and tell the engine from the day
    Power(PowerArgs),
    /// Look at a bay
    #[command(subcommand)]
    Bay(BayCommand),
    /// Compute what the table in force needs, and record it as a proposal
    Propose(ProposeArgs),
    /// Plan the next pull: what to hold and sweep, what it brings, and whether there is need
    Plan(PlanArgs),
    /// Look at proposals
    #[command(subcommand)]
    Proposal(ProposalCommand),
    /// List the proposals of all jobs that wait for a verdict, and tell of others as they come
    #[command(
        after_help = "Examples:\n  baytrim inbox\n  baytrim inbox --follow   (Ctrl-C ends it)"
    )]
    Inbox {
        /// Go on: tell of each proposal that comes or waits no longer
        #[arg(long)]
        follow: bool,
    },
    /// Show the shop at a glance: jobs by bay, where they stand, whose lambda sensor should be looked at
    #[command(after_help = "Example:\n  baytrim shop --done-days 30")]
    Shop {
        /// Days for which jobs that are done are shown [default: 14]
        #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=366))]
        done_days: Option<u16>,
    },
    /// Show what is behind a node's number: pulls, rows, gates, and what its uncertainty is made of
    Trace(TraceArgs),
    /// Look at how the plate follows the hand, and compute grip tables
    #[command(subcommand)]
    Grip(GripCommand),
    /// Approve a proposal, whole or node by node: a new table revision comes of it
    Approve(ApproveArgs),
    /// Reject a proposal
    Reject(RejectArgs),
    /// Say something about a proposal, or about one of its nodes; it goes on record
    Comment(CommentArgs),
    /// Put an earlier table revision back, as a new revision
    Revert(RevertArgs),
    /// Look at tables and export them
    #[command(subcommand)]
    Table(TableCommand),
    /// Read the record of all that happened, and prove it
    #[command(subcommand)]
    Ledger(LedgerCommand),
    /// Say who belongs to the shop and may do what
    #[command(subcommand)]
    Member(MemberCommand),
    /// Issue and revoke tokens
    #[command(subcommand)]
    Token(TokenCommand),
    /// Show and set the rules of the shop
    #[command(subcommand)]
    Policy(PolicyCommand),
    /// Say whom the token shows, and what they may do
    #[command(after_help = "Example:\n  baytrim whoami")]
    Whoami,
    /// Make a link that signs in to the review page, once
    #[command(after_help = "Example:\n  baytrim sign-in")]
    SignIn,
    /// Say whether the server serves, since when, and how busy it is
    #[command(after_help = "Example, as a health check:\n  baytrim status --deadline 5")]
    Status,
    /// Print a completion script for a shell
    #[command(
        after_help = "Example:\n  baytrim completions bash > ~/.local/share/bash-completion/completions/baytrim"
    )]
    Completions {
        /// The shell
        shell: Shell,
    },
}

/// A job by name.
#[derive(Debug, Args)]
pub(crate) struct JobArg {
    /// The job, for example quoll-1
    #[arg(value_name = "JOB", value_parser = parse_job)]
    pub(crate) job: JobName,
}

/// Why a verdict is given; common to verdicts and reverts.
#[derive(Debug, Args)]
pub(crate) struct ReasonArg {
    /// Why, in your own words; it goes on record
    #[arg(long, value_name = "TEXT", value_parser = parse_reason)]
    pub(crate) reason: String,
}

/// Returns the whole command with all that can be typed.
pub(crate) fn command() -> clap::Command {
    Cli::command().mut_subcommands(with_actor)
}

fn with_actor(command: clap::Command) -> clap::Command {
    let command = command.mut_subcommands(with_actor);
    if command.get_name() == "export" {
        return command;
    }
    let actor = Arg::new(ACTOR)
        .long("as")
        .value_name("NAME")
        .help("Whose token to show, of those found on this machine; refused where it is another's")
        .help_heading("Options for every command");
    command.arg(actor)
}

/// Returns what `args`, the program's name first, ask for.
///
/// # Errors
/// When they ask for nothing that exists, or for help.
pub(crate) fn parse(args: impl IntoIterator<Item = OsString>) -> Result<Cli, clap::Error> {
    let matches = command().try_get_matches_from(args)?;
    let mut cli = Cli::from_arg_matches(&matches)?;
    cli.global.actor = actor(&matches);
    Ok(cli)
}

/// Returns who acts: the `--as` that was typed last along the chain of commands.
fn actor(matches: &ArgMatches) -> Option<String> {
    let deeper = matches.subcommand().and_then(|(_, matches)| actor(matches));
    let here = || matches.try_get_one::<String>(ACTOR).ok().flatten().cloned();
    deeper.or_else(here)
}

fn parse_reason(text: &str) -> Result<String, String> {
    match text.trim() {
        "" => Err("say why in a few words".to_owned()),
        trimmed if trimmed.len() > 2000 => Err("is longer than 2000 bytes".to_owned()),
        trimmed => Ok(trimmed.to_owned()),
    }
}

fn parse_deadline(text: &str) -> Result<Duration, String> {
    text.parse()
        .ok()
        .filter(|seconds| (0.001..=86_400.0).contains(seconds))
        .map(Duration::from_secs_f64)
        .ok_or_else(|| "write seconds, from 0.001 to 86400".to_owned())
}

#[cfg(test)]
mod tests {
    use std::ffi::OsString;

    use super::{Command, TableCommand, command, parse};
    use crate::args::table::ExportQuantity;

    fn words(text: &str) -> Vec<OsString> {
        text.split(' ').map(OsString::from).collect()
    }

    /// The program would stop at its own arguments before doing anything.
    #[test]
    fn the_arguments_are_consistent() {
        command().debug_assert();
    }

    /// A verdict would go on record under the wrong name, or an export would come in the wrong numbers.
    #[test]
    fn as_names_who_acts_save_after_export() {
        for text in [
            "baytrim --as kim propose quoll-1",
            "baytrim propose quoll-1 --as kim",
            "baytrim --as robin propose quoll-1 --as kim",
        ] {
            let cli = parse(words(text)).unwrap();
            assert_eq!(cli.global.actor.as_deref(), Some("kim"), "{text}");
        }
        let text = "baytrim --as kim table export quoll-1 --format csv --as percent";
        let cli = parse(words(text)).unwrap();
        assert_eq!(cli.global.actor.as_deref(), Some("kim"));
        let Command::Table(TableCommand::Export(export)) = cli.command else {
            panic!("not an export");
        };
        assert_eq!(export.quantity, ExportQuantity::Percent);
    }
}
