//! Who is signed in to the review page: kept in memory, gone when the daemon ends.

use std::collections::HashMap;
use std::hash::Hash;
use std::sync::{Mutex, PoisonError};

use baytrim_model::ids::UnixMillis;
use baytrim_model::shop::TokenId;
use sha2::{Digest as _, Sha256};

use super::token::{SECRET_BYTES, random};
use crate::fault::InternalFault;

/// Time after which who does nothing is signed out, in milliseconds: two hours, a long pull and its lunch.
pub const SESSION_IDLE_MS: i64 = 2 * 3600 * 1000;

/// Longest time that anybody stays signed in, in milliseconds: a working day.
pub const SESSION_MS_MAX: i64 = 12 * 3600 * 1000;

/// Most sessions; with more, the one that was idle longest ends.
pub const SESSIONS_MAX: usize = 256;

/// Time for which a link that signs in is good, in milliseconds: five minutes.
pub const SIGN_IN_MS: i64 = 5 * 60 * 1000;

/// Most links that wait to be used; with more, the oldest is void.
pub const SIGN_INS_MAX: usize = 64;

/// Sessions of the page, and links that begin one. Both are found by the hash of what the browser shows.
#[derive(Default)]
pub(crate) struct Sessions(Mutex<Kept>);

#[derive(Default)]
struct Kept {
    sessions: HashMap<[u8; 32], Session>,
    links: HashMap<[u8; 32], (TokenId, UnixMillis)>,
}

struct Session {
    token: TokenId,
    began: UnixMillis,
    seen: UnixMillis,
}

impl Session {
    fn is_over(&self, at: UnixMillis) -> bool {
        at.0 - self.seen.0 >= SESSION_IDLE_MS || at.0 - self.began.0 >= SESSION_MS_MAX
    }
}

impl Sessions {
    /// Begins a session and returns what its cookie holds.
    pub(crate) fn begin(&self, token: TokenId, at: UnixMillis) -> Result<String, InternalFault> {
        let secret = random(SECRET_BYTES)?;
        let mut kept = self.kept();
        kept.sessions.retain(|_, session| !session.is_over(at));
        make_room(&mut kept.sessions, SESSIONS_MAX, |session| session.seen);
        let (began, seen) = (at, at);
        kept.sessions
            .insert(hash(&secret), Session { token, began, seen });
        Ok(secret)
    }

    /// Returns whose session it is; `is_done` says whether a person did something, or a page only looked for news.
    pub(crate) fn holder(&self, secret: &str, at: UnixMillis, is_done: bool) -> Option<TokenId> {
        let mut kept = self.kept();
        let session = kept.sessions.get_mut(&hash(secret))?;
        if session.is_over(at) {
            kept.sessions.remove(&hash(secret));
            return None;
        }
        if is_done {
            session.seen = session.seen.max(at);
        }
        Some(session.token.clone())
    }

    /// Ends a session.
    pub(crate) fn end(&self, secret: &str) {
        self.kept().sessions.remove(&hash(secret));
    }

    /// Makes a link that signs in once; returns its code and until when it is good.
    pub(crate) fn link(
        &self,
        token: TokenId,
        at: UnixMillis,
    ) -> Result<(String, UnixMillis), InternalFault> {
        let code = random(SECRET_BYTES)?;
        let until = UnixMillis(at.0.saturating_add(SIGN_IN_MS));
        let mut kept = self.kept();
        kept.links.retain(|_, (_, until)| *until > at);
        make_room(&mut kept.links, SIGN_INS_MAX, |(_, until)| *until);
        kept.links.insert(hash(&code), (token, until));
        Ok((code, until))
    }

    /// Returns who made the link, which is void from now on.
    pub(crate) fn follow(&self, code: &str, at: UnixMillis) -> Option<TokenId> {
        let (token, until) = self.kept().links.remove(&hash(code))?;
        (until > at).then_some(token)
    }

    fn kept(&self) -> std::sync::MutexGuard<'_, Kept> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn make_room<K: Copy + Eq + Hash, V>(
    kept: &mut HashMap<K, V>,
    max: usize,
    age: impl Fn(&V) -> UnixMillis,
) {
    if kept.len() < max {
        return;
    }
    let oldest = kept.iter().min_by_key(|(_, value)| age(value));
    if let Some(key) = oldest.map(|(key, _)| *key) {
        kept.remove(&key);
    }
}

fn hash(secret: &str) -> [u8; 32] {
    Sha256::digest(secret).into()
}

#[cfg(test)]
mod tests {
    use super::*;

    const BEGAN: UnixMillis = UnixMillis(1_000_000);

    fn token() -> TokenId {
        "abcdefgh".parse().expect("a name")
    }

    fn after(ms: i64) -> UnixMillis {
        UnixMillis(BEGAN.0 + ms)
    }

    /// If this fails, who left a tablet lying about is signed in for ever, or who works is signed out.
    #[test]
    fn sessions_end_by_themselves() {
        let sessions = Sessions::default();
        let secret = sessions.begin(token(), BEGAN).expect("random bytes");
        assert_eq!(sessions.holder("", BEGAN, true), None);
        let mut at = 0;
        while at + SESSION_IDLE_MS - 1 < SESSION_MS_MAX {
            at += SESSION_IDLE_MS - 1;
            assert_eq!(sessions.holder(&secret, after(at), true), Some(token()));
        }
        assert_eq!(sessions.holder(&secret, after(SESSION_MS_MAX), true), None);
        let idle = sessions.begin(token(), BEGAN).expect("random bytes");
        assert_eq!(sessions.holder(&idle, after(SESSION_IDLE_MS), true), None);
        let watched = sessions.begin(token(), BEGAN).expect("random bytes");
        assert_eq!(sessions.holder(&watched, after(1000), false), Some(token()));
        assert_eq!(
            sessions.holder(&watched, after(SESSION_IDLE_MS), false),
            None
        );
        let ended = sessions.begin(token(), BEGAN).expect("random bytes");
        sessions.end(&ended);
        assert_eq!(sessions.holder(&ended, BEGAN, true), None);
    }

    /// If this fails, a link in a terminal's history signs somebody in later.
    #[test]
    fn links_are_good_once_and_for_minutes() {
        let sessions = Sessions::default();
        let (code, until) = sessions.link(token(), BEGAN).expect("random bytes");
        assert_eq!(sessions.follow(&code, BEGAN), Some(token()));
        assert_eq!(sessions.follow(&code, BEGAN), None);
        let (code, _) = sessions.link(token(), BEGAN).expect("random bytes");
        assert_eq!(sessions.follow(&code, until), None);
    }

    /// If this fails, signing in again and again fills the memory.
    #[test]
    fn sessions_and_links_are_bounded() {
        let sessions = Sessions::default();
        let first = sessions.begin(token(), BEGAN).expect("random bytes");
        for ms in 1..=1000 {
            sessions.begin(token(), after(ms)).expect("random bytes");
            sessions.link(token(), after(ms)).expect("random bytes");
        }
        let kept = sessions.kept();
        assert_eq!(
            (kept.sessions.len(), kept.links.len()),
            (SESSIONS_MAX, SIGN_INS_MAX)
        );
        drop(kept);
        assert_eq!(sessions.holder(&first, after(1001), true), None);
    }
}
