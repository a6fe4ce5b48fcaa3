//! The shop as its records tell it.

use std::collections::{BTreeMap, HashMap};

use baytrim_model::ids::{Actor, RequestId, UnixMillis};
use baytrim_model::shop::{
    Member, MemberName, Policy, Role, ShopEvent, ShopRecord, TokenId, TokenIssue,
};

/// The shop as its records tell it; the default is a shop without records, where nobody may do anything.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ShopState {
    members: BTreeMap<String, MemberEntry>,
    tokens: BTreeMap<TokenId, TokenEntry>,
    policy: Policy,
    requests: HashMap<RequestId, Outcome>,
    latest_at: Option<UnixMillis>,
    record_count: u64,
}

/// A member with its circumstances.
#[derive(Debug, Clone, PartialEq)]
pub struct MemberEntry {
    /// Who it is and what it may do.
    pub member: Member,
    /// When it was made known.
    pub added_at: UnixMillis,
    /// By whom.
    pub added_by: Actor,
    /// Whether it may do nothing any more.
    pub is_removed: bool,
}

/// A token with its circumstances.
#[derive(Debug, Clone, PartialEq)]
pub struct TokenEntry {
    /// The token as it was issued.
    pub issue: TokenIssue,
    /// When it was issued.
    pub issued_at: UnixMillis,
    /// By whom.
    pub issued_by: Actor,
    /// When it was made void, where it was.
    pub revoked_at: Option<UnixMillis>,
}

/// What a request with an id came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// A member was added, changed or removed.
    Member(MemberName),
    /// A token was issued.
    Issued(TokenId),
    /// A token was revoked.
    Revoked(TokenId),
    /// The policy was set.
    Policy,
}

/// Why a record can't follow those before it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("record {record} speaks of {what}, which does not fit what came before")]
pub struct ShopFoldError {
    /// Place of the record.
    pub record: u64,
    /// What it speaks of.
    pub what: String,
}

impl ShopState {
    /// Returns the shop that `records`, from its first, tell.
    ///
    /// # Errors
    /// When one does not follow those before it.
    pub fn fold<'a>(records: impl Iterator<Item = &'a ShopRecord>) -> Result<Self, ShopFoldError> {
        let mut state = Self::default();
        for record in records {
            state.apply(record)?;
        }
        Ok(state)
    }

    /// Takes the next record in.
    ///
    /// # Errors
    /// When it does not follow those before it; the shop is then as before.
    pub fn apply(&mut self, record: &ShopRecord) -> Result<(), ShopFoldError> {
        let outcome = self.apply_event(record)?;
        if let Some(id) = &record.request_id {
            self.requests.insert(id.clone(), outcome);
        }
        self.latest_at = self.latest_at.max(Some(record.at));
        self.record_count += 1;
        Ok(())
    }

    fn apply_event(&mut self, record: &ShopRecord) -> Result<Outcome, ShopFoldError> {
        Ok(match &record.event {
            ShopEvent::MemberAdded { member } => {
                self.fits(self.member(&member.name).is_none(), &member.name)?;
                let entry = MemberEntry {
                    member: member.clone(),
                    added_at: record.at,
                    added_by: record.by.clone(),
                    is_removed: false,
                };
                self.members.insert(member.name.key(), entry);
                Outcome::Member(member.name.clone())
            }
            ShopEvent::MemberChanged { member } => {
                self.known(&member.name)?.member = member.clone();
                Outcome::Member(member.name.clone())
            }
            ShopEvent::MemberRemoved { member, .. } => {
                self.known(member)?.is_removed = true;
                for token in self.tokens.values_mut() {
                    if token.issue.member.key() == member.key() {
                        token.revoked_at.get_or_insert(record.at);
                    }
                }
                Outcome::Member(member.clone())
            }
            ShopEvent::TokenIssued { token } => {
                let fits =
                    self.member(&token.member).is_some() && !self.tokens.contains_key(&token.id);
                self.fits(fits, &token.id)?;
                let entry = TokenEntry {
                    issue: token.clone(),
                    issued_at: record.at,
                    issued_by: record.by.clone(),
                    revoked_at: None,
                };
                self.tokens.insert(token.id.clone(), entry);
                Outcome::Issued(token.id.clone())
            }
            ShopEvent::TokenRevoked { token, .. } => {
                self.fits(self.tokens.contains_key(token), token)?;
                if let Some(entry) = self.tokens.get_mut(token) {
                    entry.revoked_at.get_or_insert(record.at);
                }
                Outcome::Revoked(token.clone())
            }
            ShopEvent::PolicySet { policy, .. } => {
                self.policy = *policy;
                Outcome::Policy
            }
        })
    }

    fn known(&mut self, name: &MemberName) -> Result<&mut MemberEntry, ShopFoldError> {
        let record = self.record_count;
        let entry = self.members.get_mut(&name.key());
        entry
            .filter(|entry| !entry.is_removed)
            .ok_or_else(|| ShopFoldError {
                record,
                what: name.to_string(),
            })
    }

    fn fits(&self, fits: bool, what: &dyn std::fmt::Display) -> Result<(), ShopFoldError> {
        if fits {
            return Ok(());
        }
        Err(ShopFoldError {
            record: self.record_count,
            what: what.to_string(),
        })
    }

    /// Returns the rules in force.
    pub fn policy(&self) -> &Policy {
        &self.policy
    }

    /// Returns the number of records that told the shop.
    pub fn record_count(&self) -> u64 {
        self.record_count
    }

    /// Returns the latest moment that a record names: no clock that says less can be right.
    pub fn latest_at(&self) -> Option<UnixMillis> {
        self.latest_at
    }

    /// Returns a member that may still do something.
    pub fn member(&self, name: &MemberName) -> Option<&MemberEntry> {
        let entry = self.members.get(&name.key());
        entry.filter(|entry| !entry.is_removed)
    }

    /// Returns every member that there was, by name.
    pub fn members(&self) -> impl Iterator<Item = &MemberEntry> {
        self.members.values()
    }

    /// Returns a token, void or not.
    pub fn token(&self, id: &TokenId) -> Option<&TokenEntry> {
        self.tokens.get(id)
    }

    /// Returns every token that was issued, by its public name.
    pub fn tokens(&self) -> impl Iterator<Item = &TokenEntry> {
        self.tokens.values()
    }

    /// Returns what a request id came to before, where it was used.
    pub fn outcome(&self, request_id: Option<&RequestId>) -> Option<&Outcome> {
        self.requests.get(request_id?)
    }

    /// Returns the members that say who may do what.
    pub fn owners(&self) -> impl Iterator<Item = &MemberEntry> {
        let owns =
            |entry: &&MemberEntry| !entry.is_removed && entry.member.roles.contains(&Role::Owner);
        self.members.values().filter(owns)
    }

    /// Returns who answers for what `actor` does: the person behind a script, else the actor itself.
    pub fn hand_behind<'a>(&'a self, actor: &'a Actor) -> &'a str {
        let entry = self.members.get(&actor.0.to_lowercase());
        let answering = entry.and_then(|entry| entry.member.answered_by.as_ref());
        answering.map_or(actor.0.as_str(), MemberName::as_str)
    }

    /// Returns whether both are the same person, or one answers for the other.
    pub fn is_same_hand(&self, one: &Actor, other: &Actor) -> bool {
        let (one, other) = (self.hand_behind(one), self.hand_behind(other));
        one.to_lowercase() == other.to_lowercase()
    }
}
