//! What the ledger of the shop itself is told.

use serde::{Deserialize, Serialize};

use super::{Member, MemberName, Policy, TokenId, TokenIssue};
use crate::ids::{Actor, RequestId, UnixMillis};

/// One thing that happened to the shop.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum ShopEvent {
    /// Somebody was made known.
    MemberAdded {
        /// Who.
        member: Member,
    },
    /// Somebody may do other things than before.
    MemberChanged {
        /// Who, as from now on.
        member: Member,
    },
    /// Somebody may do nothing any more; all their tokens are void.
    MemberRemoved {
        /// Who.
        member: MemberName,
        /// Why.
        reason: String,
    },
    /// A token was issued.
    TokenIssued {
        /// The token.
        token: TokenIssue,
    },
    /// A token was made void.
    TokenRevoked {
        /// The token.
        token: TokenId,
        /// Why.
        reason: String,
    },
    /// The owner set the rules.
    PolicySet {
        /// The rules from now on.
        policy: Policy,
        /// Why.
        reason: String,
    },
}

/// One record of the shop: what happened, when, by whom.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ShopRecord {
    /// Version of the record's form.
    pub version: u16,
    /// When, by the daemon's clock.
    pub at: UnixMillis,
    /// By whom.
    pub by: Actor,
    /// The client's own name for the request, where it gave one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub request_id: Option<RequestId>,
    /// What happened.
    #[serde(flatten)]
    pub event: ShopEvent,
}
