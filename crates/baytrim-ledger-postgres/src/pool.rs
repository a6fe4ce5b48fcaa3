//! Connections that are kept, few and open.

use std::sync::{Mutex, PoisonError};

use tokio::sync::{Semaphore, SemaphorePermit};

use crate::session::{Connector, Session};
use crate::trouble::Trouble;

/// Connections that are kept.
pub(crate) struct Pool {
    connector: Connector,
    idle: Mutex<Vec<Session>>,
    room: Semaphore,
}

/// A connection for as long as it is held; it is closed unless it is given back.
pub(crate) struct Held<'a> {
    pub(crate) session: Session,
    /// Whether it was made just now, perhaps to another database than the one before.
    pub(crate) is_new: bool,
    _room: SemaphorePermit<'a>,
}

impl Pool {
    pub(crate) fn new(connector: Connector, connections_max: usize) -> Self {
        Self {
            connector,
            idle: Mutex::default(),
            room: Semaphore::new(connections_max),
        }
    }

    /// Returns a connection, waiting while all are in use.
    pub(crate) async fn take(&self) -> Result<Held<'_>, Trouble> {
        // Never closed, so that there is always room in the end.
        let room = self.room.acquire().await.map_err(|_| Trouble::Moved)?;
        let (session, is_new) = match self.idle() {
            Some(session) => (session, false),
            None => (self.connector.connect().await?, true),
        };
        Ok(Held {
            session,
            is_new,
            _room: room,
        })
    }

    fn idle(&self) -> Option<Session> {
        let mut idle = self.idle.lock().unwrap_or_else(PoisonError::into_inner);
        idle.retain(|session| !session.is_closed());
        idle.pop()
    }

    /// Keeps a connection that is sound for whoever comes next.
    pub(crate) fn give(&self, held: Held<'_>) {
        let mut idle = self.idle.lock().unwrap_or_else(PoisonError::into_inner);
        idle.push(held.session);
    }

    /// Closes the connections that nobody uses: after a failure they may lead to a database that is none any more.
    pub(crate) fn close_idle(&self) {
        let mut idle = self.idle.lock().unwrap_or_else(PoisonError::into_inner);
        idle.clear();
    }
}
