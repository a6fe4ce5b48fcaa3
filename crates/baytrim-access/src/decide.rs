//! Deciding a request about members, tokens or rules: state and request in, event or refusal out.

use baytrim_model::ids::UnixMillis;
use baytrim_model::shop::{Member, MemberName, Policy, Role, ShopEvent, TokenId, TokenIssue};

use crate::refusal::AccessRefusal;
use crate::state::{MemberEntry, ShopState};

/// Longest reason in bytes: a paragraph, not a report.
pub const REASON_BYTES_MAX: usize = 2000;

/// Most members and most tokens that are not void: more than any shop has people, bays and scripts.
pub const KNOWN_MAX: usize = 1000;

/// Longest time that a token may be good, in days: ten years.
pub const TOKEN_DAYS_MAX: i64 = 3660;

/// Longest time for which a proposal may be approved, in seconds: ten years.
pub const VALID_S_MAX: u64 = 3660 * 24 * 3600;

const DAY_MS: i64 = 24 * 3600 * 1000;

/// Returns the event that makes a member known.
///
/// # Errors
/// When the name was ever used, no role is given, or the member is not sound in itself.
pub fn add_member(state: &ShopState, member: Member) -> Result<ShopEvent, AccessRefusal> {
    let is_used = |entry: &MemberEntry| entry.member.name.key() == member.name.key();
    // The name of somebody who left stays theirs: records name them.
    if state.members().any(is_used) || is_reserved(&member.name) {
        return Err(AccessRefusal::MemberExists(member.name.to_string()));
    }
    if state.members().count() >= KNOWN_MAX {
        return Err(too_many("member"));
    }
    check_member(state, &member)?;
    Ok(ShopEvent::MemberAdded { member })
}

/// Returns the event that gives a member other roles.
///
/// # Errors
/// When there is no such member, it is not sound in itself, or no owner would be left.
pub fn change_member(state: &ShopState, member: Member) -> Result<ShopEvent, AccessRefusal> {
    let entry = known(state, &member.name)?;
    check_member(state, &member)?;
    if !member.roles.contains(&Role::Owner) {
        check_not_last_owner(state, entry)?;
    }
    let name = entry.member.name.clone();
    Ok(ShopEvent::MemberChanged {
        member: Member { name, ..member },
    })
}

/// Returns the event that makes a member and all its tokens void.
///
/// # Errors
/// When there is no such member, the reason is missing, or no owner would be left.
pub fn remove_member(
    state: &ShopState,
    name: &MemberName,
    reason: &str,
) -> Result<ShopEvent, AccessRefusal> {
    let entry = known(state, name)?;
    check_not_last_owner(state, entry)?;
    Ok(ShopEvent::MemberRemoved {
        member: entry.member.name.clone(),
        reason: checked_reason(reason)?,
    })
}

/// Returns the event of a token that is issued.
///
/// # Errors
/// When there is no such member, the token is good for no time or too long, or there are too many.
pub fn issue_token(
    state: &ShopState,
    token: TokenIssue,
    at: UnixMillis,
) -> Result<ShopEvent, AccessRefusal> {
    let entry = known(state, &token.member)?;
    let days = AccessRefusal::field(
        "valid_days",
        "is no time that a token can be good for",
        format!("write 1 to {TOKEN_DAYS_MAX} days"),
    );
    let longest = at.0.saturating_add(TOKEN_DAYS_MAX * DAY_MS);
    if token
        .expires_at
        .is_some_and(|expires| expires <= at || expires.0 > longest)
    {
        return Err(days);
    }
    if state.token(&token.id).is_some() {
        return Err(AccessRefusal::field("token", "is known", "ask again"));
    }
    let live = state.tokens().filter(|entry| entry.revoked_at.is_none());
    if live.count() >= KNOWN_MAX {
        return Err(too_many("token"));
    }
    let member = entry.member.name.clone();
    Ok(ShopEvent::TokenIssued {
        token: TokenIssue { member, ..token },
    })
}

/// Returns the moment `days` days after another.
pub fn days_after(at: UnixMillis, days: i64) -> UnixMillis {
    UnixMillis(at.0.saturating_add(days.saturating_mul(DAY_MS)))
}

/// Returns the event that makes a token void.
///
/// # Errors
/// When there is no such token, it is void already, or the reason is missing.
pub fn revoke_token(
    state: &ShopState,
    id: &TokenId,
    reason: &str,
) -> Result<ShopEvent, AccessRefusal> {
    let entry = state.token(id);
    let entry = entry.ok_or_else(|| AccessRefusal::TokenUnknown(id.clone()))?;
    if entry.revoked_at.is_some() {
        return Err(AccessRefusal::TokenVoid(id.clone()));
    }
    Ok(ShopEvent::TokenRevoked {
        token: id.clone(),
        reason: checked_reason(reason)?,
    })
}

/// Returns the event that sets the rules.
///
/// # Errors
/// When a rule is beyond its range, or the reason is missing.
pub fn set_policy(policy: Policy, reason: &str) -> Result<ShopEvent, AccessRefusal> {
    let range = 60..=VALID_S_MAX;
    if policy.proposal_valid_s.is_some_and(|s| !range.contains(&s)) {
        return Err(AccessRefusal::field(
            "policy.proposal_valid_duration",
            "is no time that a proposal can be good for",
            "write a minute to ten years, or leave it out for ever",
        ));
    }
    Ok(ShopEvent::PolicySet {
        policy,
        reason: checked_reason(reason)?,
    })
}

/// Names that records use for what no member did.
fn is_reserved(name: &MemberName) -> bool {
    ["baytrimd", "unknown"].contains(&name.key().as_str())
}

fn known<'a>(state: &'a ShopState, name: &MemberName) -> Result<&'a MemberEntry, AccessRefusal> {
    state
        .member(name)
        .ok_or_else(|| AccessRefusal::MemberUnknown(name.to_string()))
}

fn check_member(state: &ShopState, member: &Member) -> Result<(), AccessRefusal> {
    if member.roles.is_empty() {
        return Err(AccessRefusal::field(
            "roles",
            "is empty",
            "give one or more of bay, tuner, reviewer, owner",
        ));
    }
    if member.bay.is_some() && member.roles.iter().any(|role| *role != Role::Bay) {
        return Err(AccessRefusal::field(
            "bay",
            "is given to a member with other roles than bay",
            "bind only members whose one role is bay",
        ));
    }
    let Some(answering) = &member.answered_by else {
        return Ok(());
    };
    let entry = known(state, answering)?;
    if entry.member.answered_by.is_some() || answering.key() == member.name.key() {
        return Err(AccessRefusal::field(
            "answered_by",
            format!("{answering} can't answer for another"),
            "name a person who answers for themselves",
        ));
    }
    Ok(())
}

fn check_not_last_owner(state: &ShopState, entry: &MemberEntry) -> Result<(), AccessRefusal> {
    let name = &entry.member.name;
    let others = state.owners().filter(|owner| owner.member.name != *name);
    if entry.member.roles.contains(&Role::Owner) && others.count() == 0 {
        return Err(AccessRefusal::LastOwner(name.to_string()));
    }
    Ok(())
}

fn too_many(what: &str) -> AccessRefusal {
    AccessRefusal::field(
        what,
        format!("the shop has {KNOWN_MAX} already"),
        "remove or revoke some that nobody uses",
    )
}

fn checked_reason(reason: &str) -> Result<String, AccessRefusal> {
    let reason = reason.trim();
    if (1..=REASON_BYTES_MAX).contains(&reason.len()) {
        return Ok(reason.to_owned());
    }
    Err(AccessRefusal::field(
        "reason",
        format!("is {} bytes long", reason.len()),
        format!("say why in 1 to {REASON_BYTES_MAX} bytes; the record keeps it"),
    ))
}
