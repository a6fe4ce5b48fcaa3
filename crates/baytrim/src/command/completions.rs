//! `baytrim completions`.

use clap_complete::Shell;

use crate::args::command;
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;

/// Prints a completion script.
pub(crate) fn run(shell: Shell, context: &mut Context<'_>) -> Result<Exit, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut command(), "baytrim", &mut script);
    context.write(&script)?;
    Ok(Exit::Done)
}
