//! Drives the API from a terminal.

use std::process::ExitCode;

use baytrim::{Environment, run};

#[tokio::main(flavor = "current_thread")]
async fn main() -> ExitCode {
    let environment = Environment::of_process();
    let mut out = std::io::stdout();
    let mut err = std::io::stderr();
    let exit = run(std::env::args_os(), &environment, &mut out, &mut err).await;
    exit.into()
}
