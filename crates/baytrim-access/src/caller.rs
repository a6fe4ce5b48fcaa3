//! Who calls: from what a token claims to who it proves.

use std::collections::BTreeSet;

use baytrim_model::ids::UnixMillis;
use baytrim_model::shop::{Member, Policy, Role, TokenHash, TokenId};

use crate::roles;
use crate::state::ShopState;

/// Somebody whose token was found good.
#[derive(Debug, Clone, PartialEq)]
pub struct Caller {
    /// Who it is.
    pub member: Member,
    /// The token that showed it.
    pub token: TokenId,
    /// The rules in force.
    pub policy: Policy,
}

/// Why somebody is not let in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Denied {
    /// There is no such token, or its secret is another: the same answer for both.
    Wrong,
    /// The token was good once; told only to who has it whole.
    Expired,
    /// The token was made void; told only to who has it whole.
    Revoked,
}

impl Caller {
    /// Returns what the caller may do as such.
    pub fn roles(&self) -> &BTreeSet<Role> {
        &self.member.roles
    }

    /// Returns whether the caller may call a method.
    pub fn may(&self, method: &str) -> bool {
        roles::permits(method, &self.member.roles, &self.policy)
    }
}

/// Returns who shows the token `id` whose SHA-256 is `hash`, at a moment.
///
/// # Errors
/// [`Denied`]; nothing that a wrong token could learn from.
pub fn recognise(
    state: &ShopState,
    id: &TokenId,
    hash: &TokenHash,
    at: UnixMillis,
) -> Result<Caller, Denied> {
    // Compared in any case, so that an unknown name takes as long as a known one.
    let none = TokenHash([0; 32]);
    let entry = state.token(id);
    let kept = entry.map_or(&none, |entry| &entry.issue.sha256);
    let is_same = is_same(&kept.0, &hash.0);
    entry.filter(|_| is_same).ok_or(Denied::Wrong)?;
    still(state, id, at)
}

/// Returns who has the token `id`, which was found good before, at a moment.
///
/// # Errors
/// [`Denied::Expired`] or [`Denied::Revoked`].
pub fn still(state: &ShopState, id: &TokenId, at: UnixMillis) -> Result<Caller, Denied> {
    let entry = state.token(id).ok_or(Denied::Revoked)?;
    let member = state.member(&entry.issue.member);
    let (None, Some(member)) = (entry.revoked_at, member) else {
        return Err(Denied::Revoked);
    };
    if entry.issue.expires_at.is_some_and(|expires| expires <= at) {
        return Err(Denied::Expired);
    }
    Ok(Caller {
        member: member.member.clone(),
        token: id.clone(),
        policy: *state.policy(),
    })
}

/// Compares in a time that does not depend on where the two differ.
fn is_same(one: &[u8; 32], other: &[u8; 32]) -> bool {
    let pairs = one.iter().zip(other);
    let differing = pairs.fold(0, |differing, (one, other)| differing | (one ^ other));
    std::hint::black_box(differing) == 0
}
