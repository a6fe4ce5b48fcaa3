//! The main job, shown: a daemon, an invented job, three pulls, a proposal.
//!
//! Nothing here is a short cut: the daemon serves on a real port, and the demo is a client of it
//! like any other, with the command line's own commands.

mod earlier;
mod people;
mod stream;
mod tour;

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;

use anyhow::{Context as _, bail};
use baytrim_ledger::Store;
use baytrim_ledger_local::LocalStore;
use clap::Args;
use tokio::net::TcpListener;
use tokio::sync::oneshot;

use crate::access::Access;
use crate::checkpoints::{self, Checkpointing};
use crate::cli::Failure;
use crate::config::ServiceLimits;
use crate::server::{Serving, serve};

use people::People;
use tour::Tour;

/// Shows the main job on invented data: logs in, proposal out.
#[derive(Debug, Args)]
pub(crate) struct Demo {
    /// Directory of the ledger; without it a temporary one, gone at the end
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
    /// Directory with the invented job and its pulls
    #[arg(long, value_name = "DIR", default_value = "demo-data")]
    from: PathBuf,
    /// Address to serve at; without it port 7411, or a free one where that is taken
    #[arg(long, value_name = "ADDR")]
    listen: Option<String>,
    /// Ends after the proposal instead of serving on
    #[arg(long)]
    once: bool,
}

impl Demo {
    pub(crate) fn run(self) -> Result<ExitCode, Failure> {
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .enable_all()
            .build()
            .context("the runtime can't be started")?;
        let done = runtime.block_on(self.show());
        drop(runtime);
        done.map_err(Failure::from)
    }

    async fn show(self) -> anyhow::Result<ExitCode> {
        if !self.from.join("job.toml").is_file() {
            bail!(
                "{} has no job.toml; run the demo in the project's folder, or name its demo data with --from DIR",
                self.from.display()
            );
        }
        let home = Home::open(self.data.as_deref())?;
        let (store, _) = LocalStore::open(home.path(), &baytrim_ledger_local::Options::default())?;
        let listener = listener(self.listen.as_deref()).await?;
        let address = listener
            .local_addr()
            .context("the listener has no address")?;
        let store: Arc<dyn Store> = Arc::new(store);
        let access = Access::open(Arc::clone(&store), Some(home.path()))?;
        let people = People::known(&access, home.path())?;
        let _places = people.tell_command_line(address);
        let serving = Serving {
            store,
            limits: ServiceLimits::default(),
            access,
            tls: None,
            metrics: None,
            checkpoints: Checkpointing {
                signer: Some(Arc::new(checkpoints::establish(home.path())?)),
                ..Checkpointing::default()
            },
            webhook: None,
        };
        let (stop, stopped) = oneshot::channel::<()>();
        let server = tokio::spawn(serve(serving, listener, async {
            let _ = stopped.await;
        }));
        let place = home.describe();
        let tour = Tour {
            server: format!("http://{address}"),
            from: self.from.clone(),
            people,
        };
        let toured = tour.walk(&place, self.once).await;
        if toured.is_ok() && !self.once {
            tokio::signal::ctrl_c()
                .await
                .context("signals can't be listened to")?;
        }
        let _ = stop.send(());
        server.await.context("the daemon broke down")??;
        toured?;
        Ok(ExitCode::SUCCESS)
    }
}

/// Where the demo's ledger lives.
enum Home {
    Named(PathBuf),
    Temporary(tempfile::TempDir),
}

impl Home {
    fn open(named: Option<&Path>) -> anyhow::Result<Self> {
        Ok(match named {
            Some(path) => Self::Named(path.to_owned()),
            None => Self::Temporary(
                tempfile::Builder::new()
                    .prefix("baytrim-demo-")
                    .tempdir()
                    .context("no temporary directory can be made; name one with --data DIR")?,
            ),
        })
    }

    fn path(&self) -> &Path {
        match self {
            Self::Named(path) => path,
            Self::Temporary(folder) => folder.path(),
        }
    }

    fn describe(&self) -> String {
        match self {
            Self::Named(path) => format!("{}", path.display()),
            Self::Temporary(folder) => {
                format!("{}, gone when the demo ends", folder.path().display())
            }
        }
    }
}

/// Listens where asked; else at the usual port, or a free one where another program has that.
async fn listener(asked: Option<&str>) -> anyhow::Result<TcpListener> {
    if let Some(address) = asked {
        let listener = TcpListener::bind(address).await;
        return listener.with_context(|| format!("can't listen at {address}"));
    }
    match TcpListener::bind("127.0.0.1:7411").await {
        Ok(listener) => Ok(listener),
        Err(_) => TcpListener::bind("127.0.0.1:0")
            .await
            .context("no port is free"),
    }
}
