//! What the ledger of the shop itself is told.

use serde::{Deserialize, Serialize};

use super::{Member, MemberName, Policy, TokenId, TokenIssue};
use crate::record::StreamRecord;

/// One thing that happened to the shop.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
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

/// A record of the shop.
pub type ShopRecord = StreamRecord<ShopEvent>;
