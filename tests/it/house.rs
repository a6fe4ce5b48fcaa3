//! A whole shop in one process: the daemon over a real store and a real port, and the command line.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use baytrim::{Environment, Exit, run};
use baytrim_ledger::Store;
use baytrim_ledger_local::{LocalStore, Options};
use baytrim_model::ids::Actor;
use baytrim_model::shop::Policy;
use baytrimd::access::{Access, establish};
use baytrimd::config::ServiceLimits;
use baytrimd::shop::Author;
use baytrimd::{Serving, serve};
use serde_json::Value;
use tokio::net::TcpListener;
use tokio::sync::oneshot;
use tokio::task::JoinHandle;

/// A daemon that serves a directory, and a terminal to it.
pub(crate) struct House {
    environment: Environment,
    stop: Option<oneshot::Sender<()>>,
    serving: JoinHandle<()>,
}

/// What a command printed and how it ended.
#[derive(Debug)]
pub(crate) struct Said {
    pub(crate) exit: Exit,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl House {
    /// Opens the shop whose ledger is in `data`.
    pub(crate) async fn open(data: &Path) -> Self {
        Self::at(data, "127.0.0.1:0").await
    }

    /// Closes the shop and opens it again on the same port.
    pub(crate) async fn again(self, data: &Path) -> Self {
        let server = self.environment.server.clone().expect("served");
        self.close().await;
        Self::at(data, server.trim_start_matches("http://")).await
    }

    /// Returns what a terminal to this shop is told.
    pub(crate) fn environment(&self) -> Environment {
        self.environment.clone()
    }

    async fn at(data: &Path, address: &str) -> Self {
        let (store, _) = LocalStore::open(data, &Options::default()).expect("the store opens");
        let store: Arc<dyn Store> = Arc::new(store);
        let access = Access::open(Arc::clone(&store), Some(data)).expect("the members are read");
        let token_file = establish(&access, data).expect("there is an owner");
        one_person(&access);
        let listener = TcpListener::bind(address).await.expect("a free port");
        let address = listener.local_addr().expect("bound");
        let serving = Serving {
            store,
            limits: ServiceLimits::default(),
            access,
            tls: None,
            metrics: None,
            checkpoints: baytrimd::checkpoints::Checkpointing::default(),
            webhook: None,
        };
        let (stop, stopped) = oneshot::channel::<()>();
        let serving = tokio::spawn(async move {
            let told = async {
                let _ = stopped.await;
            };
            serve(serving, listener, told).await.expect("serves");
        });
        Self {
            environment: Environment {
                server: Some(format!("http://{address}")),
                token_file,
                ..Environment::default()
            },
            stop: Some(stop),
            serving,
        }
    }

    /// Runs one command.
    pub(crate) async fn command(&self, words: &[&str]) -> Said {
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let args = std::iter::once("baytrim").chain(words.iter().copied());
        let exit = run(args, &self.environment, &mut out, &mut err).await;
        let text = |bytes| String::from_utf8(bytes).expect("UTF-8");
        Said {
            exit,
            out: text(out),
            err: text(err),
        }
    }

    /// Runs one command that must succeed, and returns its JSON.
    pub(crate) async fn json(&self, words: &[&str]) -> Value {
        let mut words = words.to_vec();
        words.push("--json");
        let said = self.command(&words).await;
        assert_eq!(said.exit, Exit::Done, "{words:?}: {}", said.err);
        serde_json::from_str(&said.out).expect("one JSON object")
    }

    /// Closes the shop in order, so that its directory can be opened again.
    pub(crate) async fn close(mut self) {
        if let Some(stop) = self.stop.take() {
            let _ = stop.send(());
        }
        self.serving.await.expect("the daemon ends in order");
    }
}

/// Lets the owner do everything, as in a shop of one person.
fn one_person(access: &Access) {
    let author = Author {
        by: Actor("owner".to_owned()),
        request_id: None,
    };
    let policy = Policy {
        one_person: true,
        ..Policy::default()
    };
    let set = |_: &baytrim_access::ShopState| {
        baytrim_access::decide::set_policy(policy, "one person works here")
    };
    access.record(&author, set).expect("recorded");
}

/// Returns the path of a file of the project, as an argument.
pub(crate) fn file(path: &str) -> String {
    crate::floors::root().join(path).display().to_string()
}

/// Returns the folder of real logs, where this machine has it.
pub(crate) fn real_logs(folder: &str) -> Option<PathBuf> {
    let path = crate::floors::root().join("../shared/data").join(folder);
    if path.is_dir() {
        return Some(path);
    }
    #[expect(clippy::print_stderr, reason = "a skipped check must be seen")]
    {
        eprintln!("skipped: no real logs at {}", path.display());
    }
    None
}
