//! Who calls, as their token shows, and whether they may.
//!
//! `baytrim-access` decides; here are the shop's stream, the clock, the network's addresses and files.

mod attempts;
mod gate;
mod last_use;
mod look;
mod members;
mod owner;
mod places;
mod session;
mod standing;
mod token;

use std::collections::HashSet;
use std::net::IpAddr;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

use baytrim_access::caller::{self, Caller, Denied};
use baytrim_access::state::Outcome;
use baytrim_access::{AccessRefusal, ShopState};
use baytrim_ledger::Store;
use baytrim_model::ids::UnixMillis;
use baytrim_model::shop::{MemberName, ShopEvent, TokenId};
use tokio::sync::watch;

use crate::clock::{self, Steady};
use crate::fault::{AccessFault, Fault, InternalFault};
use crate::shop::Author;

use attempts::Attempts;
use last_use::LastUse;
use members::{Members, Settled};
use session::Sessions;

pub use attempts::{ADDRESSES_MAX, ATTEMPTS_MAX, FORGIVEN_MS};
pub(crate) use gate::is_encrypted;
pub use gate::{Door, gate};
pub use members::{SHOP_STREAM, fold};
pub use owner::{
    OWNER_FILE, OWNER_NAME, OwnerError, RecoverError, establish, establish_at, found, recover,
    write,
};
pub use places::{Place, Places};
pub use session::{SESSION_IDLE_MS, SESSION_MS_MAX, SESSIONS_MAX, SIGN_IN_MS, SIGN_INS_MAX};
pub(crate) use standing::Standing;
pub use token::{SECRET_BYTES, Token};

/// Metadata key under which a caller may say whom it takes itself for; another than its token's member is refused.
pub const ACTOR_KEY: &str = "baytrim-actor";

/// Who recorded something for which nobody asked.
pub const ACTOR_UNKNOWN: &str = "unknown";

/// Checks callers, and keeps who they are.
#[derive(Clone)]
pub struct Access(Arc<Inner>);

struct Inner {
    members: Members,
    attempts: Mutex<Attempts>,
    /// Hashes of tokens that were found good: what is in here was not guessed. Bounded by the tokens that there are.
    good: Mutex<HashSet<[u8; 32]>>,
    last_use: LastUse,
    sessions: Sessions,
    /// Counts what was recorded, so that who waits looks again.
    changes: watch::Sender<u64>,
    /// Goes on from the latest moment seen: a clock set back makes no token good again.
    time: Steady,
}

/// A caller, and the shop as it was when it called.
#[derive(Debug, Clone)]
pub struct Admitted {
    /// Who calls.
    pub caller: Caller,
    /// The shop.
    pub shop: Arc<ShopState>,
}

impl Access {
    /// Returns the checks of the shop that `store` holds; when tokens were last used is kept in `directory`.
    ///
    /// # Errors
    /// The store's fault, or records that tell no shop.
    pub fn open(store: Arc<dyn Store>, directory: Option<&Path>) -> Result<Self, InternalFault> {
        let members = Members::open(store)?;
        let latest = members.state().latest_at().unwrap_or(UnixMillis(0));
        Ok(Self(Arc::new(Inner {
            members,
            attempts: Mutex::default(),
            good: Mutex::default(),
            last_use: LastUse::open(directory),
            sessions: Sessions::default(),
            changes: watch::Sender::new(0),
            time: Steady::new(latest),
        })))
    }

    /// Returns the shop as it is now.
    pub fn state(&self) -> Arc<ShopState> {
        self.0.members.state()
    }

    /// Returns whether a token that is shown may be one that another daemon has recorded a moment ago.
    pub(crate) fn may_be_news(&self, token: Option<&str>, peer: Option<IpAddr>) -> bool {
        let token = token.and_then(Token::parse);
        let is_news = token.is_some_and(|token| self.state().token(token.id()).is_none());
        let is_spent = peer.is_some_and(|peer| self.attempts().is_spent(peer, self.now()));
        is_news && !is_spent && self.0.members.is_shared()
    }

    /// Returns the latest moment that the clock or a record has told, and what has passed since.
    pub fn now(&self) -> UnixMillis {
        self.0.time.at(clock::now())
    }

    /// Returns who shows `token`, a text that may be none; `peer` is where it comes from, where that is known.
    ///
    /// # Errors
    /// [`AccessFault`]: the same for a missing token, one that is none, and one with another secret.
    pub fn admit(
        &self,
        token: Option<&str>,
        peer: Option<IpAddr>,
    ) -> Result<Admitted, AccessFault> {
        self.admit_at(token, peer, clock::now())
    }

    /// Returns what [`Access::admit`] does at a moment.
    ///
    /// # Errors
    /// As there.
    pub fn admit_at(
        &self,
        token: Option<&str>,
        peer: Option<IpAddr>,
        at: UnixMillis,
    ) -> Result<Admitted, AccessFault> {
        let at = self.0.time.at(at);
        // Nothing shown is nothing guessed.
        let token = Token::parse(token.ok_or(AccessFault::TokenNotAccepted)?);
        let hash = token.as_ref().map(Token::hash);
        let is_known = hash.is_some_and(|hash| self.good().contains(&hash.0));
        // Whoever has tried too often is not looked at, but for tokens that were good before: others share the address.
        if !is_known && peer.is_some_and(|peer| self.attempts().is_spent(peer, at)) {
            return Err(AccessFault::TooManyAttempts);
        }
        let shop = self.state();
        let found = match (&token, hash) {
            (Some(token), Some(hash)) => caller::recognise(&shop, token.id(), &hash, at),
            _ => Err(Denied::Wrong),
        };
        match found {
            Ok(caller) => {
                if let (Some(hash), false) = (hash, is_known) {
                    self.good().insert(hash.0);
                }
                self.note_use(&caller.token, at);
                Ok(Admitted { caller, shop })
            }
            Err(denied) => {
                if let Some(peer) = peer.filter(|_| denied == Denied::Wrong) {
                    self.attempts().count(peer, at);
                    tracing::info!(%peer, given = token.is_some(), "a caller without a good token was turned away");
                }
                Err(denied.into())
            }
        }
    }

    /// Returns who has a token that was found good before, if it still is.
    pub(crate) fn holder(&self, id: &TokenId) -> Option<Admitted> {
        let (shop, at) = (self.state(), self.now());
        let caller = caller::still(&shop, id, at).ok()?;
        self.note_use(id, at);
        Some(Admitted { caller, shop })
    }

    fn note_use(&self, id: &TokenId, at: UnixMillis) {
        if self.0.last_use.note(id, at) {
            let access = self.clone();
            let write = move || access.0.last_use.write();
            match tokio::runtime::Handle::try_current() {
                Ok(runtime) => drop(runtime.spawn_blocking(write)),
                Err(_) => write(),
            }
        }
    }

    /// Returns when a token was last used, to ten minutes.
    pub(crate) fn last_use(&self, id: &TokenId) -> Option<UnixMillis> {
        self.0.last_use.of(id)
    }

    /// Returns who is signed in to the page.
    pub(crate) fn sessions(&self) -> &Sessions {
        &self.0.sessions
    }

    /// Records what `plan` decides on.
    ///
    /// # Errors
    /// What `plan` says, a request id that was used for something else, or the store's fault.
    pub fn record(
        &self,
        author: &Author,
        mut plan: impl FnMut(&ShopState) -> Result<ShopEvent, AccessRefusal>,
    ) -> Result<Arc<ShopState>, Fault> {
        let settled = self.decide(author, &|_| false, |state| Ok(vec![plan(state)?]))?;
        Ok(settled.state)
    }

    pub(crate) fn decide(
        &self,
        author: &Author,
        is_same: &dyn Fn(&Outcome) -> bool,
        plan: impl FnMut(&ShopState) -> Result<Vec<ShopEvent>, AccessRefusal>,
    ) -> Result<Settled, Fault> {
        let settled = self.0.members.decide(author, is_same, plan)?;
        self.0.changes.send_modify(|count| *count += 1);
        Ok(settled)
    }

    fn attempts(&self) -> std::sync::MutexGuard<'_, Attempts> {
        self.0
            .attempts
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
    }

    fn good(&self) -> std::sync::MutexGuard<'_, HashSet<[u8; 32]>> {
        self.0.good.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Admitted {
    /// Checks that the caller may call `method`, `Service/Method`.
    ///
    /// # Errors
    /// [`AccessFault::NotPermitted`].
    pub fn check(&self, method: &str) -> Result<(), AccessFault> {
        if self.caller.may(method) {
            return Ok(());
        }
        let row = baytrim_access::roles::find(method);
        let roles: Vec<&str> = row
            .map_or(&[][..], |row| row.roles)
            .iter()
            .map(|role| role.as_str())
            .collect();
        Err(AccessFault::NotPermitted {
            member: self.caller.member.name.to_string(),
            method: method.to_owned(),
            roles: roles.join(" or "),
        })
    }

    /// Returns whether `name` is the caller's own.
    pub(crate) fn is_called(&self, name: &str) -> bool {
        let name = name.trim().parse::<MemberName>();
        name.is_ok_and(|name| name.key() == self.caller.member.name.key())
    }
}

impl From<Denied> for AccessFault {
    fn from(denied: Denied) -> Self {
        match denied {
            Denied::Wrong => Self::TokenNotAccepted,
            Denied::Expired => Self::TokenExpired,
            Denied::Revoked => Self::TokenRevoked,
        }
    }
}

impl std::fmt::Debug for Access {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Access").finish_non_exhaustive()
    }
}
