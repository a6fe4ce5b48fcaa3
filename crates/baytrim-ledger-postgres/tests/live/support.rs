//! A place of its own in the shared database for each test.

use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};

use baytrim_ledger::Store;
use baytrim_ledger::conformance::Fixture;
use baytrim_ledger_postgres::{Address, OpenReport, Options, PostgresStore};
use tokio_postgres::NoTls;

static PLACES: AtomicU32 = AtomicU32::new(0);

/// Returns what `tests/postgres/run.sh` says.
#[expect(
    clippy::disallowed_methods,
    reason = "the script tells the tests where its database is"
)]
pub(crate) fn told(name: &str) -> String {
    std::env::var(name).unwrap_or_else(|_| panic!("{name} is not set; run tests/postgres/run.sh"))
}

/// Returns options that fit a database without a second copy.
pub(crate) fn single() -> Options {
    Options {
        single_copy: true,
        ..Options::default()
    }
}

/// A schema of its own, gone when dropped.
pub(crate) struct Place {
    pub(crate) schema: String,
}

impl Place {
    pub(crate) fn new() -> Self {
        let number = PLACES.fetch_add(1, Ordering::Relaxed);
        let schema = format!("t{}_{number}", std::process::id());
        sql(&format!("create schema {schema}"));
        Self { schema }
    }

    /// Returns the address of the place, through `port` where one is given.
    pub(crate) fn url(&self, port: Option<u16>) -> String {
        let mut url = told("BAYTRIM_TEST_POSTGRES");
        if let Some(port) = port {
            let (before, after) = url.rsplit_once(':').expect("a port");
            let (_, database) = after.split_once('/').expect("a database");
            url = format!("{before}:{port}/{database}");
        }
        format!("{url}?options=-c%20search_path%3D{}", self.schema)
    }

    pub(crate) fn open(&self) -> (PostgresStore, OpenReport) {
        self.open_with(None, &single())
    }

    pub(crate) fn open_with(
        &self,
        port: Option<u16>,
        options: &Options,
    ) -> (PostgresStore, OpenReport) {
        let address = Address::parse(&self.url(port)).expect("a good address");
        PostgresStore::open(&address, options).expect("opens")
    }

    /// Runs statements within the place.
    pub(crate) fn sql(&self, text: &str) {
        sql(&format!("set search_path = {}; {text}", self.schema));
    }

    /// Returns the number that a query in the place gives.
    pub(crate) fn count(&self, query: &str) -> i64 {
        let (schema, query) = (self.schema.clone(), query.to_owned());
        with_client(async move |client| {
            let set = format!("set search_path = {schema}");
            client.batch_execute(&set).await.expect("sets");
            client.query_one(&query, &[]).await.expect("counts").get(0)
        })
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        sql(&format!("drop schema if exists {} cascade", self.schema));
    }
}

/// Runs statements in the shared database, as its owner.
pub(crate) fn sql(text: &str) {
    let text = text.to_owned();
    with_client(async move |client| client.batch_execute(&text).await.expect("runs"));
}

fn with_client<T: Send + 'static>(
    work: impl AsyncFnOnce(tokio_postgres::Client) -> T + Send + 'static,
) -> T {
    let url = told("BAYTRIM_TEST_POSTGRES");
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .expect("a runtime");
    runtime.block_on(async move {
        let (client, connection) = tokio_postgres::connect(&url, NoTls)
            .await
            .expect("connects");
        let driver = tokio::spawn(connection);
        let value = work(client).await;
        drop(driver);
        value
    })
}

/// A store in a place of its own, perhaps behind a port that is not the database's.
pub(crate) struct InPlace {
    store: Option<Arc<dyn Store>>,
    port: Option<u16>,
    place: Place,
}

impl InPlace {
    pub(crate) fn new(port: Option<u16>) -> Self {
        let place = Place::new();
        let store: Arc<dyn Store> = Arc::new(place.open_with(port, &single()).0);
        Self {
            store: Some(store),
            port,
            place,
        }
    }
}

impl Fixture for InPlace {
    fn store(&self) -> Arc<dyn Store> {
        Arc::clone(self.store.as_ref().expect("open"))
    }

    fn reopen(&mut self) {
        drop(self.store.take());
        self.store = Some(Arc::new(self.place.open_with(self.port, &single()).0));
    }
}
