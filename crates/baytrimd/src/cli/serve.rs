//! `baytrimd serve`.

use std::future::Future;
use std::io::Write as _;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;

use anyhow::Context as _;
use clap::Args;
use tokio::net::TcpListener;
use tokio::runtime::Runtime;
#[cfg(not(feature = "otlp"))]
use tracing_subscriber::layer::Identity;

use super::place::LedgerPlace;
use super::{Failure, Options};
use crate::access::{Access, OWNER_NAME, Place, Places, establish};
use crate::checkpoints::{self, Checkpointing};
use crate::clock;
use crate::config::Settings;
use crate::log;
use crate::server::{Serving, is_loopback, serve};
#[cfg(feature = "otlp")]
use crate::telemetry::Traces;
use crate::tls::{self, Tls};
use crate::webhook::Webhook;

/// Serves the API and the review page until it is told to stop.
#[derive(Debug, Args)]
pub(crate) struct Serve {
    #[command(flatten)]
    options: Options,
    /// Goes on although acknowledged content of the ledger is missing or damaged; make a copy first
    #[arg(long)]
    accept_loss: bool,
}

impl Serve {
    pub(crate) fn run(self) -> Result<ExitCode, Failure> {
        let settings = self.options.settings()?;
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .enable_all()
            .build()
            .context("the runtime can't be started")?;
        let traces = start_log(&settings, &runtime)?;
        let place = LedgerPlace::of(&settings)?;
        let options = baytrim_ledger_local::Options {
            accept_loss: self.accept_loss,
            clock: Some(clock::passed),
            ..baytrim_ledger_local::Options::default()
        };
        let store = place.open(&options)?;
        let data = settings.data.as_deref();
        if let Some(data) = data {
            std::fs::create_dir_all(data)
                .with_context(|| format!("{}: can't be made", data.display()))?;
        }
        let tls = Tls::load(&settings, data, clock::now())
            .context("nothing can be encrypted")
            .map_err(Failure::usage)?;
        let access = Access::open(Arc::clone(&store), data)
            .context("the shop's members can't be read; run `baytrimd ledger verify`")?;
        let owner = owner(&access, data)?;
        let signer = data.map(checkpoints::establish).transpose();
        let signer = signer.context("no checkpoint could be signed")?;
        let webhook = webhook(&settings, data)?;
        let serving = Serving {
            store,
            limits: settings.limits.clone(),
            access,
            tls,
            metrics: None,
            checkpoints: Checkpointing {
                signer: signer.map(Arc::new),
                every: settings.checkpoints_every,
                directory: settings.checkpoints_directory.clone(),
            },
            webhook,
        };
        runtime.block_on(listen_and_serve(&settings, serving, owner.as_deref()))?;
        // The last spans still need the runtime.
        drop(traces);
        // Waits for blocking work, so that the store is closed in order when its last owner goes.
        drop(runtime);
        Ok(ExitCode::SUCCESS)
    }
}

/// Starts logging, and sending traces where a collector is named.
#[cfg(feature = "otlp")]
fn start_log(settings: &Settings, runtime: &Runtime) -> Result<Option<Traces>, Failure> {
    let _within = runtime.enter();
    let traces = settings.otlp_endpoint.as_deref().map(Traces::to);
    let traces = traces
        .transpose()
        .context("no traces could be sent to `telemetry.otlp_endpoint`")
        .map_err(Failure::usage)?;
    let layer = traces.as_ref().map(Traces::layer);
    log::start(settings.log_format, &settings.log_level, layer);
    Ok(traces)
}

/// Starts logging.
#[cfg(not(feature = "otlp"))]
#[expect(
    clippy::unnecessary_wraps,
    reason = "the same signature with every feature"
)]
fn start_log(settings: &Settings, _runtime: &Runtime) -> Result<(), Failure> {
    log::start(settings.log_format, &settings.log_level, Identity::new());
    Ok(())
}

fn webhook(settings: &Settings, data: Option<&Path>) -> Result<Option<Webhook>, Failure> {
    let Some(webhook) = &settings.webhook else {
        return Ok(None);
    };
    let data = data.ok_or_else(|| {
        Failure::usage(anyhow::anyhow!(
            "messages need a directory for their secret and for what was told; give --data DIR beside --store"
        ))
    })?;
    let opened = Webhook::open(webhook, data).context("no messages could be sent to `webhook.url`");
    opened.map(Some).map_err(Failure::usage)
}

/// Makes the shop's first member where there is none; returns where an owner's token file is.
fn owner(access: &Access, data: Option<&Path>) -> Result<Option<PathBuf>, Failure> {
    match data {
        Some(data) => Ok(establish(access, data).context("the shop has no owner yet")?),
        None if access.state().members().next().is_none() => Err(Failure::usage(anyhow::anyhow!(
            "the shop has no owner yet, and no directory for the owner's token is named; run `baytrimd owner first --store URL --token-file FILE` once, or give --data DIR"
        ))),
        None => Ok(None),
    }
}

async fn listen_and_serve(
    settings: &Settings,
    mut serving: Serving,
    owner: Option<&Path>,
) -> Result<(), Failure> {
    let listen = &settings.listen;
    let wanted = tokio::net::lookup_host(listen).await;
    let wanted: Vec<_> = wanted
        .with_context(|| format!("{listen} is no address of this machine; check `listen`"))
        .map_err(Failure::usage)?
        .collect();
    if serving.tls.is_none() && !wanted.iter().all(is_loopback) {
        if !settings.is_insecure_lan {
            return Err(Failure::usage(anyhow::anyhow!(
                "{listen} is reached from other machines, and nothing is encrypted; make the shop's own certificates with `baytrimd tls init --name THIS-MACHINE`, or name yours with --tls-certificate and --tls-key; else listen at 127.0.0.1, or say --insecure-lan if the network is yours alone"
            )));
        }
        tracing::warn!(
            listen,
            "other machines can connect, and nothing is encrypted"
        );
    }
    let listener = TcpListener::bind(wanted.as_slice())
        .await
        .with_context(|| format!("can't listen at {listen}; another program may have the port"))?;
    let address = listener
        .local_addr()
        .context("the listener has no address")?;
    if let Some(listen) = &settings.metrics_listen {
        serving.metrics = Some(metrics_listener(listen).await?);
    }
    announce(address, owner, serving.tls.as_ref())?;
    let _places = owner.and_then(|owner| tell_command_line(address, owner, serving.tls.as_ref()));
    let shutdown = signals().context("signals can't be listened to")?;
    serve(serving, listener, shutdown)
        .await
        .map_err(|error| anyhow::Error::from(error).into())
}

async fn metrics_listener(listen: &str) -> Result<TcpListener, Failure> {
    let listener = TcpListener::bind(listen).await.with_context(|| {
        format!("can't listen at {listen} (`metrics.listen`); another program may have the port")
    })?;
    let address = listener
        .local_addr()
        .context("the listener has no address")?;
    tracing::info!(%address, "figures are scraped at /metrics");
    Ok(listener)
}

/// Prints the one line that scripts wait for, then where an owner's token is.
///
/// Both in one write: a script may close its end as soon as it has the first line.
fn announce(address: SocketAddr, owner: Option<&Path>, tls: Option<&Tls>) -> anyhow::Result<()> {
    let scheme = if tls.is_some() { "https" } else { "http" };
    let mut lines = vec![format!("listening on {scheme}://{address}")];
    if let Some(tls) = tls {
        let on = tls::day(tls.ends_at);
        tracing::info!(%on, "the daemon's certificate is good until then");
        if tls.ends_soon(clock::now()) {
            tracing::warn!(%on, "the daemon's certificate ends soon; `baytrimd tls renew` makes another");
        }
    }
    if let Some(owner) = owner {
        lines.push(format!("the owner's token is in {}", owner.display()));
        tracing::info!(file = %owner.display(), "the owner's token is there");
    }
    let mut out = std::io::stdout().lock();
    out.write_all((lines.join("\n") + "\n").as_bytes())
        .and_then(|()| out.flush())
        .context("standard output is closed")
}

/// Lets the command line of the same user find the token; where that fails, `--token-file` still does.
fn tell_command_line(address: SocketAddr, owner: &Path, tls: Option<&Tls>) -> Option<Places> {
    let directory = Options::places()?;
    let place = Place {
        member: OWNER_NAME.to_owned(),
        file: owner.to_owned(),
    };
    let authority = tls.and_then(|tls| tls.authority.as_deref());
    let written = Places::write(&directory, address, &[place], authority);
    written
        .inspect_err(|error| {
            tracing::warn!(directory = %directory.display(), %error, "the command line must be told the token file with --token-file");
        })
        .ok()
}

/// Returns a future that resolves at the first SIGTERM or SIGINT.
#[cfg(unix)]
fn signals() -> std::io::Result<impl Future<Output = ()> + Send + 'static> {
    use tokio::signal::unix::{SignalKind, signal};
    let mut terminate = signal(SignalKind::terminate())?;
    let mut interrupt = signal(SignalKind::interrupt())?;
    Ok(async move {
        tokio::select! {
            _ = terminate.recv() => (),
            _ = interrupt.recv() => (),
        }
    })
}

/// Returns a future that resolves at the first interrupt.
#[cfg(not(unix))]
#[expect(
    clippy::unnecessary_wraps,
    reason = "the same signature on every system"
)]
fn signals() -> std::io::Result<impl Future<Output = ()> + Send + 'static> {
    Ok(async {
        let _ = tokio::signal::ctrl_c().await;
    })
}
