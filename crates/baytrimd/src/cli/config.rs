//! `baytrimd config`: what the daemon is told, and where from.

use std::process::ExitCode;

use clap::Subcommand;

use super::{Failure, Options};
use crate::config;

/// What to do with the configuration.
#[derive(Debug, Subcommand)]
pub(crate) enum Config {
    /// Prints each key, its value and where the value is from
    Show(Options),
    /// Says whether the configuration can be used
    Check(Options),
}

impl Config {
    #[expect(clippy::print_stdout, reason = "this is the command line")]
    pub(crate) fn run(self) -> Result<ExitCode, Failure> {
        match self {
            Self::Show(options) => {
                let layers = options.layers()?;
                for setting in layers.all() {
                    let value = if setting.value.is_empty() {
                        "-"
                    } else {
                        &setting.value
                    };
                    println!("{:<26} {value:<22} {}", setting.key.name, setting.origin);
                }
                config::settings(&layers).map_err(Failure::usage)?;
            }
            Self::Check(options) => {
                options.settings()?;
                println!("the configuration can be used");
            }
        }
        Ok(ExitCode::SUCCESS)
    }
}
