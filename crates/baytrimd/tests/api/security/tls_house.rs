//! A daemon that speaks TLS within the test, and terminals to it.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use baytrim::{Environment, Exit, run};
use baytrim_ledger::{MemoryStore, Store};
use baytrim_model::ids::UnixMillis;
use baytrim_model::shop::Role;
use baytrimd::access::{Access, write};
use baytrimd::checkpoints::Checkpointing;
use baytrimd::clock;
use baytrimd::config::{Layers, ServiceLimits, Settings, settings};
use baytrimd::server::{ServeError, Serving, serve};
use baytrimd::tls::{Authority, TLS_DIR, Tls, TlsError};
use tempfile::TempDir;
use tokio::net::TcpListener;
use tokio::sync::oneshot;
use tokio::task::JoinHandle;

use crate::harness::{join, token_of};

pub const DAY_MS: i64 = 24 * 3600 * 1000;

/// A directory with an authority, the daemon's certificate, and tokens of a tuner, an owner and two bays.
pub struct House {
    pub directory: TempDir,
    pub authority: Authority,
}

/// A daemon that serves within the test.
pub struct Daemon {
    pub address: SocketAddr,
    stop: oneshot::Sender<()>,
    serving: JoinHandle<Result<(), ServeError>>,
}

/// What a command printed and how it ended.
#[derive(Debug)]
pub struct Said {
    pub exit: Exit,
    pub out: String,
    pub err: String,
}

/// Returns the settings that flags give.
pub fn told(flags: &[(&'static str, &str)]) -> Settings {
    let flags = flags.iter().map(|&(key, value)| (key, value.to_owned()));
    let flags: BTreeMap<_, _> = flags.collect();
    settings(&Layers::gather(&flags, &|_| None, None).unwrap()).unwrap()
}

impl House {
    /// Makes certificates now, the daemon's for its own machine.
    pub fn new() -> Self {
        let directory = tempfile::tempdir().unwrap();
        let authority = Authority::make(&directory.path().join(TLS_DIR), clock::now()).unwrap();
        authority.make_server(&[], (clock::now(), 10)).unwrap();
        for name in ["tuner", "owner", "bay-east", "bay-west"] {
            let file = directory.path().join(format!("{name}.token"));
            write(&file, &token_of(name)).unwrap();
        }
        Self {
            directory,
            authority,
        }
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.directory.path().join(name)
    }

    pub fn load(&self, flags: &[(&'static str, &str)]) -> Result<Option<Tls>, TlsError> {
        self.load_at(flags, clock::now())
    }

    pub fn load_at(
        &self,
        flags: &[(&'static str, &str)],
        at: UnixMillis,
    ) -> Result<Option<Tls>, TlsError> {
        Tls::load(&told(flags), Some(self.directory.path()), at)
    }

    /// Makes a member's certificate and returns its file.
    pub fn issue(&self, member: &str, at: UnixMillis, days: u32) -> PathBuf {
        let made = self
            .authority
            .make_member(&member.parse().unwrap(), (at, days));
        let path = self.path(&format!("issued-{member}-{days}"));
        std::fs::write(&path, made.unwrap()).unwrap();
        path
    }

    /// Runs a command with somebody's token, finding the rest beside it.
    pub async fn command(&self, server: &str, token: &str, words: &[&str]) -> Said {
        let token_file = Some(self.path(&format!("{token}.token")));
        terminal(server, token_file, words).await
    }
}

pub async fn terminal(server: &str, token_file: Option<PathBuf>, words: &[&str]) -> Said {
    let environment = Environment {
        server: Some(server.to_owned()),
        token_file,
        ..Environment::default()
    };
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let words = std::iter::once("baytrim").chain(words.iter().copied());
    let exit = run(words, &environment, &mut out, &mut err).await;
    let text = |bytes| String::from_utf8(bytes).unwrap();
    Said {
        exit,
        out: text(out),
        err: text(err),
    }
}

impl Daemon {
    pub async fn start(tls: Option<Tls>) -> Self {
        Self::at("127.0.0.1:0", tls).await
    }

    pub async fn at(address: &str, tls: Option<Tls>) -> Self {
        let listener = TcpListener::bind(address).await.unwrap();
        let address = listener.local_addr().unwrap();
        let store: Arc<dyn Store> = Arc::new(MemoryStore::new());
        let access = Access::open(Arc::clone(&store), None).unwrap();
        for (name, role) in [
            ("tuner", Role::Tuner),
            ("owner", Role::Owner),
            ("bay-east", Role::Bay),
            ("bay-west", Role::Bay),
        ] {
            join(&access, name, &[role]);
        }
        let serving = Serving {
            store,
            limits: ServiceLimits::default(),
            access,
            tls,
            metrics: None,
            checkpoints: Checkpointing::default(),
            webhook: None,
        };
        let (stop, stopped) = oneshot::channel::<()>();
        let serving = tokio::spawn(serve(serving, listener, async {
            let _ = stopped.await;
        }));
        Self {
            address,
            stop,
            serving,
        }
    }

    pub fn url(&self) -> String {
        format!("https://{}", self.address)
    }

    pub async fn stop(self) {
        self.stop.send(()).unwrap();
        self.serving.await.unwrap().unwrap();
    }
}

/// Returns a path as an argument.
pub fn word(path: &Path) -> &str {
    path.to_str().unwrap()
}
