//! How often an address may come with a token that is none.

use std::collections::HashMap;
use std::net::IpAddr;

use baytrim_model::ids::UnixMillis;

/// Wrong tokens that an address may show in a row: a person who mixes up files needs a few.
pub const ATTEMPTS_MAX: u32 = 10;

/// Time in which one of them is forgiven, in milliseconds.
pub const FORGIVEN_MS: i64 = 6000;

/// Addresses that are kept in mind; with more, who has tried least is forgotten.
pub const ADDRESSES_MAX: usize = 4096;

/// Counts wrong tokens by address.
#[derive(Debug, Default)]
pub(crate) struct Attempts(HashMap<IpAddr, Tried>);

#[derive(Debug, Clone, Copy)]
struct Tried {
    count: u32,
    since: UnixMillis,
}

impl Tried {
    /// Returns the count that is left at a moment.
    fn left(self, at: UnixMillis) -> Self {
        let forgiven = at.0.saturating_sub(self.since.0).max(0) / FORGIVEN_MS;
        let count =
            u32::try_from(forgiven).map_or(0, |forgiven| self.count.saturating_sub(forgiven));
        let since = UnixMillis(
            self.since
                .0
                .saturating_add(forgiven.saturating_mul(FORGIVEN_MS)),
        );
        Self { count, since }
    }
}

impl Attempts {
    /// Returns whether an address has tried too often.
    pub(crate) fn is_spent(&self, address: IpAddr, at: UnixMillis) -> bool {
        let tried = self.0.get(&network(address));
        tried.is_some_and(|tried| tried.left(at).count >= ATTEMPTS_MAX)
    }

    /// Counts one more wrong token.
    pub(crate) fn count(&mut self, address: IpAddr, at: UnixMillis) {
        let address = network(address);
        if self.0.len() >= ADDRESSES_MAX && !self.0.contains_key(&address) {
            self.make_room(at);
        }
        let none = Tried {
            count: 0,
            since: at,
        };
        let tried = self.0.entry(address).or_insert(none);
        *tried = tried.left(at);
        if tried.count == 0 {
            tried.since = at;
        }
        tried.count = (tried.count + 1).min(ATTEMPTS_MAX);
    }

    /// Returns the number of addresses that are kept in mind.
    #[cfg(test)]
    fn len(&self) -> usize {
        self.0.len()
    }

    fn make_room(&mut self, at: UnixMillis) {
        self.0.retain(|_, tried| tried.left(at).count > 0);
        if self.0.len() < ADDRESSES_MAX {
            return;
        }
        let least = self.0.iter().min_by_key(|(_, tried)| tried.left(at).count);
        if let Some(address) = least.map(|(address, _)| *address) {
            self.0.remove(&address);
        }
    }
}

/// Returns what counts as one caller: an address, or the 64 bits of one that a network hands out as a whole.
fn network(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V4(address) => address.into(),
        IpAddr::V6(address) => std::net::Ipv6Addr::from_bits(address.to_bits() & !0 << 64).into(),
    }
}

#[cfg(test)]
mod tests {
    use std::net::{Ipv4Addr, Ipv6Addr};

    use super::*;

    const HERE: IpAddr = IpAddr::V4(Ipv4Addr::LOCALHOST);

    /// If this fails, somebody may guess for ever, or who mistyped is never let in again.
    #[test]
    fn attempts_are_spent_and_forgiven() {
        let mut attempts = Attempts::default();
        let at = |ms| UnixMillis(1_000_000 + ms);
        for _ in 0..ATTEMPTS_MAX {
            assert!(!attempts.is_spent(HERE, at(0)));
            attempts.count(HERE, at(0));
        }
        assert!(attempts.is_spent(HERE, at(FORGIVEN_MS - 1)));
        assert!(!attempts.is_spent(HERE, at(FORGIVEN_MS)));
        attempts.count(HERE, at(FORGIVEN_MS));
        assert!(attempts.is_spent(HERE, at(FORGIVEN_MS + 1)));
        // A clock set back forgives nothing.
        assert!(attempts.is_spent(HERE, UnixMillis(0)));
        assert!(!attempts.is_spent(IpAddr::V6(Ipv6Addr::LOCALHOST), at(0)));
    }

    /// If this fails, one network with many addresses has many tries.
    #[test]
    fn a_network_counts_as_one() {
        let mut attempts = Attempts::default();
        let of = |last| IpAddr::V6(Ipv6Addr::new(0x2001, 0xdb8, 0, 1, 0, 0, 0, last));
        for last in 0..10 {
            attempts.count(of(last), UnixMillis(0));
        }
        assert!(attempts.is_spent(of(77), UnixMillis(0)));
        let mapped = IpAddr::V6(Ipv4Addr::LOCALHOST.to_ipv6_mapped());
        assert_eq!(network(mapped), HERE);
    }

    /// If this fails, callers from many addresses fill the memory, or wash away who has tried most.
    #[test]
    fn memory_is_bounded() {
        let mut attempts = Attempts::default();
        for _ in 0..ATTEMPTS_MAX {
            attempts.count(HERE, UnixMillis(0));
        }
        for number in 0..20_000_u32 {
            let address = IpAddr::V4(Ipv4Addr::from_bits(0x0a00_0000 + number));
            attempts.count(address, UnixMillis(0));
        }
        assert_eq!(attempts.len(), ADDRESSES_MAX);
        assert!(attempts.is_spent(HERE, UnixMillis(0)));
    }
}
