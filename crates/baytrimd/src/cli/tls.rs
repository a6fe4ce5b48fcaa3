//! `baytrimd tls`: the shop's own authority, and the certificates that it signs.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context as _;
use baytrim_ledger_local::LocalStore;
use baytrim_model::shop::MemberName;
use clap::{Args, Subcommand};

use super::place::not_opened;
use super::{Failure, Options};
use crate::clock;
use crate::tls::{self, AUTHORITY_FILE, Authority, SERVER_DAYS, SERVER_FILE, TLS_DIR, TlsError};

/// What to do with certificates.
#[derive(Debug, Subcommand)]
pub(crate) enum TlsCommand {
    /// Makes the shop's own authority and a certificate for the daemon, which then speaks TLS
    Init(Names),
    /// Makes another certificate for the daemon, by the same authority; it is taken at the next start
    Renew(Names),
    /// Makes a certificate that a bay shows beside its token; the daemon need not be stopped
    Issue {
        /// The member that it is for
        #[arg(value_name = "MEMBER")]
        member: MemberName,
        /// File that gets the certificate and its key
        #[arg(long, value_name = "FILE")]
        output: PathBuf,
        /// Days that it is good for
        #[arg(long, default_value_t = SERVER_DAYS, value_parser = clap::value_parser!(u32).range(1..=3660))]
        days: u32,
        #[command(flatten)]
        options: Options,
    },
    /// Says what there is and until when it is good
    Show(Options),
}

/// Names of the daemon's machine.
#[derive(Debug, Args)]
pub(crate) struct Names {
    /// Name or address by which clients reach this machine, beside localhost; may be said again
    #[arg(long = "name", value_name = "NAME")]
    reached_by: Vec<String>,
    /// Days that the certificate is good for
    #[arg(long, default_value_t = SERVER_DAYS, value_parser = clap::value_parser!(u32).range(1..=3660))]
    days: u32,
    #[command(flatten)]
    options: Options,
}

impl TlsCommand {
    pub(crate) fn run(self) -> Result<ExitCode, Failure> {
        match self {
            Self::Init(names) => init(&names)?,
            Self::Renew(names) => renew(names)?,
            Self::Issue {
                member,
                output,
                days,
                options,
            } => issue(&member, &output, days, &options)?,
            Self::Show(options) => show(&directory(&options)?)?,
        }
        Ok(ExitCode::SUCCESS)
    }
}

fn directory(options: &Options) -> Result<PathBuf, Failure> {
    Ok(Options::data(&options.settings()?)?.join(TLS_DIR))
}

fn init(names: &Names) -> Result<(), Failure> {
    let settings = names.options.settings()?;
    let data = Options::data(&settings)?;
    // With the ledger in a database the directory holds files of the daemon alone.
    if settings.database.is_none() {
        make_ledger(data)?;
    }
    let directory = data.join(TLS_DIR);
    let at = clock::now();
    let authority = Authority::make(&directory, at).map_err(Failure::usage)?;
    authority
        .make_server(&names.reached_by, (at, names.days))
        .map_err(Failure::usage)?;
    show(&directory)?;
    say(&format!(
        "give clients {} and let them check its fingerprint; its key stays here",
        authority.path().display()
    ));
    Ok(())
}

/// A ledger is made in an empty directory only, so that it comes before the certificates.
fn make_ledger(data: &Path) -> Result<(), Failure> {
    let is_used = std::fs::read_dir(data).is_ok_and(|mut entries| entries.next().is_some());
    if !is_used {
        LocalStore::open(data, &baytrim_ledger_local::Options::default()).map_err(not_opened)?;
    }
    Ok(())
}

fn renew(names: Names) -> Result<(), Failure> {
    let directory = directory(&names.options)?;
    let authority = Authority::open(&directory).map_err(Failure::usage)?;
    let wanted = if names.reached_by.is_empty() {
        tls::names(&directory).map_err(Failure::usage)?
    } else {
        names.reached_by
    };
    authority
        .make_server(&wanted, (clock::now(), names.days))
        .map_err(Failure::usage)?;
    show(&directory)?;
    say("the daemon takes it at its next start");
    Ok(())
}

fn issue(member: &MemberName, output: &Path, days: u32, options: &Options) -> Result<(), Failure> {
    let authority = Authority::open(&directory(options)?).map_err(Failure::usage)?;
    if output.exists() {
        return Err(Failure::usage(anyhow::anyhow!(
            "{} is there already; name a new file",
            output.display()
        )));
    }
    let at = clock::now();
    let made = authority.make_member(member, (at, days));
    let made = made.context("no certificate was made")?;
    tls::save(output, &made, true).map_err(Failure::usage)?;
    say(&format!(
        "{}: certificate and key of {member}, good for {days} days; keep it beside the member's token, as NAME.pem beside NAME.token, or name it with --certificate",
        output.display()
    ));
    Ok(())
}

fn show(directory: &Path) -> Result<(), Failure> {
    let path = directory.join(AUTHORITY_FILE);
    if !path.is_file() {
        return Err(Failure::usage(TlsError::NoAuthority { path }));
    }
    let authority = tls::read_certificate(&path).map_err(Failure::usage)?;
    say(&format!(
        "authority of the shop: {}, good until {}",
        path.display(),
        until(&authority)
    ));
    say(&format!(
        "its SHA-256 fingerprint: {}",
        tls::fingerprint(&authority)
    ));
    let path = directory.join(SERVER_FILE);
    if path.is_file() {
        let server = tls::read_certificate(&path).map_err(Failure::usage)?;
        let mut names = tls::LOOPBACK_NAMES.map(str::to_owned).to_vec();
        names.extend(tls::names(directory).map_err(Failure::usage)?);
        say(&format!(
            "the daemon's certificate: {}, good until {}, for {}",
            path.display(),
            until(&server),
            names.join(", ")
        ));
    }
    Ok(())
}

fn until(certificate: &rustls_pki_types::CertificateDer<'_>) -> String {
    tls::not_after(certificate).map_or_else(|| "an unknown day".to_owned(), tls::day)
}

#[expect(clippy::print_stdout, reason = "this is the command line")]
fn say(line: &str) {
    println!("{line}");
}
