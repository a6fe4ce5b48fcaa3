//! What the process around a command offers it.

use std::io::IsTerminal as _;
use std::path::PathBuf;

/// Server that is asked where nobody names one.
pub(crate) const SERVER_DEFAULT: &str = "http://127.0.0.1:7411";

/// The same where the daemon there names an authority, so that it speaks TLS.
pub(crate) const SERVER_DEFAULT_TLS: &str = "https://127.0.0.1:7411";

/// Name of the token among a service manager's credentials.
const CREDENTIAL_NAME: &str = "baytrim.token";

/// Where a daemon that runs as a service, or in a container, keeps its owner's token.
const SERVICE_TOKEN: &str = "/var/lib/baytrim/owner.token";

/// Columns of a page that goes to no terminal.
const WIDTH_DEFAULT: usize = 100;

/// What the process around a command offers it. The default has no variables and no terminal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Environment {
    /// Server that is asked where `--server` is not given; `BAYTRIM_SERVER`.
    pub server: Option<String>,
    /// Token file that is read where `--token-file` is not given; `BAYTRIM_TOKEN_FILE`.
    pub token_file: Option<PathBuf>,
    /// Certificate of the shop's authority where `--ca-file` is not given; `BAYTRIM_CA_FILE`.
    pub ca_file: Option<PathBuf>,
    /// The caller's own certificate where `--certificate` is not given; `BAYTRIM_CERTIFICATE`.
    pub certificate: Option<PathBuf>,
    /// File whose token is taken where no other is named, whatever the server: a service manager's.
    pub credential: Option<PathBuf>,
    /// Directories with files that name the tokens of daemons on this machine.
    pub places: Vec<PathBuf>,
    /// Token file of a daemon on this machine that runs as a service.
    pub service_token: Option<PathBuf>,
    /// Whether colours are unwanted: `NO_COLOR` is set and not empty, or `TERM` is `dumb`.
    pub no_color: bool,
    /// Columns of a page.
    pub width: usize,
    /// Whether results go to a terminal.
    pub out_is_terminal: bool,
    /// Whether messages go to a terminal, so that progress may be drawn there.
    pub err_is_terminal: bool,
}

impl Default for Environment {
    fn default() -> Self {
        Self {
            server: None,
            token_file: None,
            ca_file: None,
            certificate: None,
            credential: None,
            places: Vec::new(),
            service_token: None,
            no_color: false,
            width: WIDTH_DEFAULT,
            out_is_terminal: false,
            err_is_terminal: false,
        }
    }
}

impl Environment {
    /// Returns the environment of this process.
    #[expect(
        clippy::disallowed_methods,
        reason = "this is where the program reads its environment"
    )]
    pub fn of_process() -> Self {
        let variable = |name: &str| std::env::var(name).ok().filter(|text| !text.is_empty());
        let out_is_terminal = std::io::stdout().is_terminal();
        Self {
            server: variable("BAYTRIM_SERVER"),
            token_file: variable("BAYTRIM_TOKEN_FILE").map(PathBuf::from),
            ca_file: variable("BAYTRIM_CA_FILE").map(PathBuf::from),
            certificate: variable("BAYTRIM_CERTIFICATE").map(PathBuf::from),
            credential: variable("CREDENTIALS_DIRECTORY")
                .map(|directory| PathBuf::from(directory).join(CREDENTIAL_NAME)),
            places: places(&variable),
            service_token: Some(PathBuf::from(SERVICE_TOKEN)),
            no_color: variable("NO_COLOR").is_some() || variable("TERM").as_deref() == Some("dumb"),
            width: width(out_is_terminal, variable("COLUMNS")),
            out_is_terminal,
            err_is_terminal: std::io::stderr().is_terminal(),
        }
    }
}

/// Returns where daemons of the same user name their token files.
fn places(variable: &dyn Fn(&str) -> Option<String>) -> Vec<PathBuf> {
    let runtime = variable("XDG_RUNTIME_DIR");
    let config = variable("XDG_CONFIG_HOME");
    let home = variable("HOME").map(|home| format!("{home}/.config"));
    let directories = [runtime, config, home].into_iter().flatten();
    directories
        .map(|directory| PathBuf::from(directory).join("baytrim"))
        .collect()
}

fn width(out_is_terminal: bool, columns: Option<String>) -> usize {
    let terminal = || terminal_size::terminal_size().map(|(width, _)| usize::from(width.0));
    let asked = || columns.and_then(|text| text.parse().ok());
    if out_is_terminal {
        terminal().or_else(asked)
    } else {
        asked()
    }
    .filter(|&width| width > 0)
    .unwrap_or(WIDTH_DEFAULT)
}
