//! The whole program, from arguments to exit code.

use std::ffi::OsString;
use std::io::Write;

use crate::args::{Cli, Command, parse};
use crate::command::{
    access, bay, channels, completions, grip, inbox, job, ledger, library, plan, power, proposal,
    pull, review, shop, stage, status, table, trace,
};
use crate::context::Context;
use crate::environment::Environment;
use crate::exit::Exit;
use crate::failure::Failure;

/// Does what `args` ask for, the program's name first; results go to `out`, all else to `err`.
///
/// Nothing of the process but the system clock, files and the network is used: what it would take
/// from variables and terminals comes with `environment`.
pub async fn run<I, T>(
    args: I,
    environment: &Environment,
    out: &mut (dyn Write + Send),
    err: &mut (dyn Write + Send),
) -> Exit
where
    I: IntoIterator<Item = T>,
    T: Into<OsString>,
{
    let args: Vec<OsString> = args.into_iter().map(Into::into).collect();
    let wants_json = args.iter().any(|arg| arg == "--json");
    let cli = match parse(args) {
        Ok(cli) => cli,
        Err(error) => return explain(&error, wants_json, environment, out, err),
    };
    let json = cli.global.json;
    let outcome = {
        let mut context = Context::new(&cli.global, environment, out, err);
        // On the heap: with every command in it the future is too large for a stack.
        Box::pin(dispatch(&cli, &mut context)).await
    };
    match outcome {
        Ok(exit) => exit,
        Err(failure) if failure.exit == Exit::Done => Exit::Done,
        Err(failure) => {
            report(&failure, json, err);
            failure.exit
        }
    }
}

async fn dispatch(cli: &Cli, context: &mut Context<'_>) -> Result<Exit, Failure> {
    match &cli.command {
        Command::Job(command) => job::run(command, context).await,
        Command::Pull(command) => pull::run(command, context).await,
        Command::Library(command) => library::run(command, context).await,
        Command::Stage(command) => stage::run(command, context).await,
        Command::Power(args) => power::run(args, context).await,
        Command::Bay(command) => bay::run(command, context).await,
        Command::Channels(command) => channels::run(command, context).await,
        Command::Propose(args) => proposal::propose(args, "", context).await,
        Command::Grip(command) => grip::run(command, context).await,
        Command::Plan(args) => plan::run(args, context).await,
        Command::Proposal(command) => proposal::run(command, context).await,
        Command::Inbox { follow } => inbox::run(*follow, context).await,
        Command::Shop { done_days } => shop::run(*done_days, context).await,
        Command::Trace(args) => trace::run(args, context).await,
        Command::Approve(args) => review::approve(args, context).await,
        Command::Reject(args) => review::reject(args, context).await,
        Command::Comment(args) => review::comment(args, context).await,
        Command::Revert(args) => review::revert(args, context).await,
        Command::Table(command) => table::run(command, context).await,
        Command::Ledger(command) => ledger::run(command, context).await,
        Command::Member(command) => access::member(command, context).await.map(|()| Exit::Done),
        Command::Token(command) => access::token(command, context).await.map(|()| Exit::Done),
        Command::Policy(command) => access::policy(command, context).await.map(|()| Exit::Done),
        Command::Whoami => access::whoami(context).await.map(|()| Exit::Done),
        Command::SignIn => access::sign_in(context).await.map(|()| Exit::Done),
        Command::Status => status::run(context).await.map(|()| Exit::Done),
        Command::Completions { shell } => completions::run(*shell, context),
    }
}

/// Prints help where it was asked for, else what was wrong with the arguments.
fn explain(
    error: &clap::Error,
    json: bool,
    environment: &Environment,
    out: &mut (dyn Write + Send),
    err: &mut (dyn Write + Send),
) -> Exit {
    let page = error.render();
    if error.use_stderr() {
        if json {
            let message = page.to_string();
            let message = message.trim_start_matches("error: ").trim_end();
            report(&Failure::local(Exit::Usage, "USAGE", message), true, err);
        } else {
            let _unheard = write!(err, "{page}");
        }
        return Exit::Usage;
    }
    let colored = environment.out_is_terminal && !environment.no_color;
    let written = if colored {
        write!(out, "{}", page.ansi())
    } else {
        write!(out, "{page}")
    };
    match written.map_err(Failure::from) {
        Ok(()) => Exit::Done,
        Err(failure) => failure.exit,
    }
}

fn report(failure: &Failure, json: bool, err: &mut (dyn Write + Send)) {
    let text = if json { failure.json() } else { failure.text() };
    let _unheard = err.write_all(text.as_bytes());
}
