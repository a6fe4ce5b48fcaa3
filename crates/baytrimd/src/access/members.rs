//! The shop's own stream: decides on its latest state, and records what was decided.

use std::sync::{Arc, Mutex, PoisonError, RwLock};

use baytrim_access::state::Outcome;
use baytrim_access::{AccessRefusal, ShopState};
use baytrim_jobs::codec;
use baytrim_ledger::{AppendError, Head, Store, StreamName};
use baytrim_model::record::RECORD_VERSION;
use baytrim_model::shop::{ShopEvent, ShopRecord};

use crate::clock;
use crate::fault::{Fault, InternalFault};
use crate::limits::DECIDE_TRIES_MAX;
use crate::shop::Author;

/// Name of the shop's own stream.
pub const SHOP_STREAM: &str = "shop";

/// Records that are read at a time.
const READ_RECORDS: usize = 256;

/// The shop's own stream.
pub(crate) struct Members {
    store: Arc<dyn Store>,
    known: RwLock<Known>,
    /// Held while something is decided and recorded.
    deciding: Mutex<()>,
}

#[derive(Debug, Clone)]
struct Known {
    state: Arc<ShopState>,
    head: Head,
}

/// What a request came to.
pub(crate) struct Settled {
    /// The shop with it.
    pub(crate) state: Arc<ShopState>,
    /// What the same request came to before, where it was sent again.
    pub(crate) before: Option<Outcome>,
}

impl Members {
    /// Reads the shop's stream.
    pub(crate) fn open(store: Arc<dyn Store>) -> Result<Self, InternalFault> {
        let known = catch_up(
            &*store,
            Known {
                state: Arc::default(),
                head: Head::EMPTY,
            },
        )?;
        Ok(Self {
            store,
            known: RwLock::new(known),
            deciding: Mutex::new(()),
        })
    }

    /// Returns the shop as it is now.
    pub(crate) fn state(&self) -> Arc<ShopState> {
        self.known().state
    }

    /// Tells whether other daemons may record something about the shop.
    pub(crate) fn is_shared(&self) -> bool {
        self.store.is_shared()
    }

    /// Reads what was recorded since, by others too; only for whoever holds `deciding`.
    fn catch_up(&self) -> Result<Known, InternalFault> {
        let known = catch_up(&*self.store, self.known())?;
        let mut kept = self.known.write().unwrap_or_else(PoisonError::into_inner);
        kept.clone_from(&known);
        Ok(known)
    }

    /// Returns a copy, so that nobody holds the lock while deciding.
    fn known(&self) -> Known {
        let known = self.known.read().unwrap_or_else(PoisonError::into_inner);
        Known::clone(&known)
    }

    /// Reads what another program recorded; returns whether there was something.
    pub(crate) fn look(&self) -> Result<bool, InternalFault> {
        let _deciding = self.deciding.lock().unwrap_or_else(PoisonError::into_inner);
        let before = self.known().head.next_seq;
        let is_new = self.catch_up()?.head.next_seq != before;
        Ok(is_new)
    }

    /// Records the event that `plan` decides on; `is_same` says which earlier outcome of the same request id is the
    /// answer to this request.
    pub(crate) fn decide(
        &self,
        author: &Author,
        is_same: &dyn Fn(&Outcome) -> bool,
        mut plan: impl FnMut(&ShopState) -> Result<Vec<ShopEvent>, AccessRefusal>,
    ) -> Result<Settled, Fault> {
        let _deciding = self.deciding.lock().unwrap_or_else(PoisonError::into_inner);
        for _ in 0..DECIDE_TRIES_MAX {
            let known = self.catch_up()?;
            if let Some(outcome) = known.state.outcome(author.request_id.as_ref()) {
                if is_same(outcome) {
                    let before = Some(outcome.clone());
                    let state = known.state;
                    return Ok(Settled { state, before });
                }
                let id = author.request_id.clone().map(|id| id.0);
                return Err(AccessRefusal::RequestIdReused(id.unwrap_or_default()).into());
            }
            let events = plan(&known.state)?;
            let landed = self.append(&known, author, events)?;
            if landed {
                let (state, before) = (self.catch_up()?.state, None);
                return Ok(Settled { state, before });
            }
        }
        Err(Fault::contended(&stream()))
    }

    /// Appends records; returns whether they landed, false meaning that another was first.
    fn append(
        &self,
        known: &Known,
        author: &Author,
        events: Vec<ShopEvent>,
    ) -> Result<bool, Fault> {
        // Time does not go back in the shop's own record, whatever the clock says.
        let at = known
            .state
            .latest_at()
            .max(Some(clock::now()))
            .unwrap_or(clock::now());
        let record = |event| ShopRecord {
            version: RECORD_VERSION,
            at,
            by: author.by.clone(),
            request_id: author.request_id.clone(),
            event,
        };
        let bodies = events
            .into_iter()
            .map(|event| codec::encode(&record(event)))
            .collect::<Result<Vec<_>, _>>()
            .map_err(InternalFault::from)?;
        match self.store.append(&stream(), &known.head, &bodies) {
            Ok(_) => Ok(true),
            Err(AppendError::Conflict { .. }) => Ok(false),
            Err(AppendError::Fault(fault)) => {
                // It may have landed all the same: what stands there tells.
                let found = self
                    .store
                    .read(&stream(), known.head.next_seq, bodies.len());
                let Ok(found) = found else {
                    let stream = SHOP_STREAM.to_owned();
                    return Err(InternalFault::Ambiguous {
                        stream,
                        source: fault,
                    }
                    .into());
                };
                let is_ours = found.iter().map(|record| &record.body).eq(&bodies);
                if is_ours { Ok(true) } else { Err(fault.into()) }
            }
            Err(other) => Err(other.into()),
        }
    }
}

/// Folds the shop's stream from its first record.
///
/// # Errors
/// The store's fault, or records that tell no shop.
pub fn fold(store: &dyn Store) -> Result<Arc<ShopState>, InternalFault> {
    let state = Arc::default();
    let head = Head::EMPTY;
    Ok(catch_up(store, Known { state, head })?.state)
}

fn catch_up(store: &dyn Store, mut known: Known) -> Result<Known, InternalFault> {
    loop {
        let records = store.read(&stream(), known.head.next_seq, READ_RECORDS)?;
        let Some(last) = records.last() else {
            return Ok(known);
        };
        let head = last.head_after();
        let state = Arc::make_mut(&mut known.state);
        for record in &records {
            let decoded =
                codec::decode(&record.body).map_err(|source| InternalFault::ShopRecord {
                    seq: record.seq,
                    source,
                })?;
            state.apply(&decoded)?;
        }
        known.head = head;
    }
}

fn stream() -> StreamName {
    StreamName::new(SHOP_STREAM).expect("a good name")
}
