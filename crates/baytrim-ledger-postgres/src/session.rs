//! One connection to the database that takes writes.

use std::future::poll_fn;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncWrite};
use tokio::task::JoinHandle;
use tokio_postgres::error::Severity;
use tokio_postgres::types::{ToSql, Type};
use tokio_postgres::{AsyncMessage, Client, Config, Connection, NoTls, Row};

use crate::error::OpenError;
use crate::tls::Verified;
use crate::trouble::Trouble;

/// Time for one host to take a connection.
const CONNECT_TIMEOUT: Duration = Duration::from_secs(3);

/// Time after which a host that acknowledges nothing is given up.
const SILENCE_MAX: Duration = Duration::from_secs(5);

/// What a statement is given, with its type.
pub(crate) type Given<'a> = (&'a (dyn ToSql + Sync), Type);

/// One connection to the database that takes writes.
pub(crate) struct Session {
    client: Client,
    is_warned: Arc<AtomicBool>,
    driver: JoinHandle<()>,
}

/// How connections are made.
#[derive(Clone)]
pub(crate) struct Connector {
    config: Config,
    tls: Option<Verified>,
    single_copy: bool,
}

impl Connector {
    pub(crate) fn new(mut config: Config, tls: Option<Verified>, single_copy: bool) -> Self {
        if config.get_connect_timeout().is_none() {
            config.connect_timeout(CONNECT_TIMEOUT);
        }
        config.tcp_user_timeout(SILENCE_MAX);
        config.keepalives_idle(SILENCE_MAX);
        config.keepalives_interval(Duration::from_secs(2));
        config.keepalives_retries(2);
        Self {
            config,
            tls,
            single_copy,
        }
    }

    /// Connects to the first host that takes writes, and checks that its commits are durable.
    pub(crate) async fn connect(&self) -> Result<Session, Trouble> {
        let session = match &self.tls {
            None => drive(self.config.connect(NoTls).await?),
            Some(tls) => drive(self.config.connect(tls.clone()).await?),
        };
        session.set_up(self.single_copy).await?;
        Ok(session)
    }
}

/// Lets the connection work by itself, and notes every warning before the answer that it belongs to is handed out.
fn drive<S, T>((client, mut connection): (Client, Connection<S, T>)) -> Session
where
    S: AsyncRead + AsyncWrite + Unpin + Send + 'static,
    T: AsyncRead + AsyncWrite + Unpin + Send + 'static,
{
    let is_warned = Arc::new(AtomicBool::new(false));
    let warned = Arc::clone(&is_warned);
    let driver = tokio::spawn(async move {
        while let Some(message) = poll_fn(|cx| connection.poll_message(cx)).await {
            match message {
                Ok(AsyncMessage::Notice(notice)) => {
                    if notice.parsed_severity() == Some(Severity::Warning) {
                        tracing::warn!(warning = notice.message(), "the database warns");
                        warned.store(true, Ordering::SeqCst);
                    }
                }
                Ok(_) => {}
                Err(error) => {
                    tracing::debug!(%error, "a connection to the database ended");
                    return;
                }
            }
        }
    });
    Session {
        client,
        is_warned,
        driver,
    }
}

impl Session {
    /// Sets what every session needs, and refuses a database whose commits may be lost.
    async fn set_up(&self, single_copy: bool) -> Result<(), Trouble> {
        // No time-out may cut a commit's wait for its second copy short.
        self.client
            .batch_execute(
                "set session characteristics as transaction isolation level read committed; \
                 set statement_timeout = 0; set lock_timeout = 0; set client_min_messages = warning",
            )
            .await?;
        let settings = "select current_setting('fsync'), current_setting('synchronous_commit'), \
                        current_setting('synchronous_standby_names')";
        let row = self.client.query_typed_one(settings, &[]).await?;
        let [fsync, commit, standbys] = [row.get(0), row.get(1), row.get(2)];
        check_durable(fsync, commit, standbys, single_copy)
            .map_err(|error| Trouble::Refused(Box::new(error)))
    }

    pub(crate) fn is_closed(&self) -> bool {
        self.client.is_closed()
    }

    /// Runs several statements without parameters.
    pub(crate) async fn batch(&self, sql: &str) -> Result<(), Trouble> {
        self.client.batch_execute(sql).await?;
        self.certain()
    }

    /// Returns the rows of a query.
    pub(crate) async fn query(&self, sql: &str, given: &[Given<'_>]) -> Result<Vec<Row>, Trouble> {
        Ok(self.client.query_typed(sql, given).await?)
    }

    /// Returns the row of a query, where there is one.
    pub(crate) async fn query_opt(
        &self,
        sql: &str,
        given: &[Given<'_>],
    ) -> Result<Option<Row>, Trouble> {
        Ok(self.client.query_typed_opt(sql, given).await?)
    }

    /// Writes, and returns how many rows; durable when it returns.
    pub(crate) async fn write(&self, sql: &str, given: &[Given<'_>]) -> Result<u64, Trouble> {
        let count = self.client.execute_typed(sql, given).await?;
        self.certain()?;
        Ok(count)
    }

    /// Waits until all that this session can see is durable, on the second copy too.
    ///
    /// What a crashed database has found again after its start can be seen, though no second copy may have it. A copy
    /// takes the database's log in its order, so that whatever is written and waited for now speaks for all before.
    pub(crate) async fn settle(&self) -> Result<(), Trouble> {
        let id = random_id()?;
        let sql = "insert into baytrim_mark (id) values ($1)";
        self.write(sql, &[(&&id[..], Type::BYTEA)]).await?;
        Ok(())
    }

    /// A commit whose wait was cut short by somebody else succeeds with a warning only.
    fn certain(&self) -> Result<(), Trouble> {
        if self.is_warned.swap(false, Ordering::SeqCst) {
            return Err(Trouble::Doubt);
        }
        Ok(())
    }
}

impl Drop for Session {
    fn drop(&mut self) {
        // Without it, the task would wait for the answer to a statement that nobody waits for any more.
        self.driver.abort();
    }
}

/// Returns 16 bytes that nobody else has.
pub(crate) fn random_id() -> Result<[u8; 16], Trouble> {
    let mut id = [0; 16];
    getrandom::fill(&mut id).map_err(Trouble::Random)?;
    Ok(id)
}

fn check_durable(
    fsync: &str,
    commit: &str,
    standbys: &str,
    single_copy: bool,
) -> Result<(), OpenError> {
    let refuse = |setting, value: &str, problem, remedy| {
        Err(OpenError::NotDurable {
            setting,
            value: value.to_owned(),
            problem,
            remedy,
        })
    };
    if fsync != "on" {
        let problem = "what it says is written is lost with the power";
        return refuse("fsync", fsync, problem, "set it to on");
    }
    if standbys.is_empty() && !single_copy {
        let problem = "only one machine has each record, and what it has is lost with it";
        let remedy =
            "name standbys, as in 'ANY 1 (b, c)', or say --single-copy if that is what you want";
        return refuse("synchronous_standby_names", standbys, problem, remedy);
    }
    match commit {
        "on" | "remote_apply" => Ok(()),
        "local" if single_copy => Ok(()),
        _ => {
            let problem = "an answer would come before what it reports is durable";
            let remedy = "set it to on for the database or the role that the daemon uses";
            refuse("synchronous_commit", commit, problem, remedy)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// If this fails, the daemon serves from a database that loses what it was told is recorded.
    #[test]
    fn databases_that_lose_commits_are_refused() {
        let check = |fsync, commit, standbys, single| {
            let checked = check_durable(fsync, commit, standbys, single);
            checked.err().map(|error| error.to_string())
        };
        assert_eq!(check("on", "on", "ANY 1 (b, c)", false), None);
        assert_eq!(check("on", "remote_apply", "b", false), None);
        assert_eq!(check("on", "on", "", true), None);
        assert_eq!(check("on", "local", "", true), None);
        let bad = [
            ("off", "on", "b", true, "fsync"),
            ("on", "off", "b", true, "synchronous_commit"),
            ("on", "remote_write", "b", true, "synchronous_commit"),
            ("on", "local", "b", false, "synchronous_commit"),
            ("on", "on", "", false, "--single-copy"),
        ];
        for (fsync, commit, standbys, single, word) in bad {
            let told = check(fsync, commit, standbys, single);
            assert!(told.is_some_and(|told| told.contains(word)), "{word}");
        }
    }
}
