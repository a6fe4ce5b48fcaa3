//! Members, tokens and rules on the wire.

use std::collections::BTreeSet;

use baytrim_access::AccessRefusal;
use baytrim_access::state::{MemberEntry, TokenEntry};
use baytrim_api::v1;
use baytrim_model::ids::UnixMillis;
use baytrim_model::shop::{Member, Policy, Role};

use super::name;
use super::time::timestamp;
use crate::fault::Fault;

/// Returns a member as the wire has it.
pub fn member(entry: &MemberEntry) -> v1::Member {
    let of = &entry.member;
    let roles = of.roles.iter().map(|role| i32::from(role_out(*role)));
    v1::Member {
        member: of.name.to_string(),
        roles: roles.collect(),
        bay: of
            .bay
            .as_ref()
            .map(|bay| format!("bays/{bay}"))
            .unwrap_or_default(),
        answered_by: of
            .answered_by
            .as_ref()
            .map(ToString::to_string)
            .unwrap_or_default(),
        removed: entry.is_removed,
        create_time: Some(timestamp(entry.added_at)),
        creator: entry.added_by.0.clone(),
    }
}

/// Returns the member that a request describes.
///
/// # Errors
/// When a name or a role is none.
pub fn member_in(sent: Option<&v1::Member>) -> Result<Member, Fault> {
    let none = v1::Member::default();
    let sent = sent.unwrap_or(&none);
    let roles = sent.roles.iter().map(|role| role_in(*role));
    let bay = match sent.bay.as_str() {
        "" => None,
        bay => Some(name::parse_bay("bay", bay)?),
    };
    let answered_by = match sent.answered_by.as_str() {
        "" => None,
        name => Some(name.parse().map_err(AccessRefusal::from)?),
    };
    Ok(Member {
        name: sent.member.parse().map_err(AccessRefusal::from)?,
        roles: roles.collect::<Result<BTreeSet<_>, _>>()?,
        bay,
        answered_by,
    })
}

fn role_out(role: Role) -> v1::Role {
    match role {
        Role::Bay => v1::Role::Bay,
        Role::Tuner => v1::Role::Tuner,
        Role::Reviewer => v1::Role::Reviewer,
        Role::Owner => v1::Role::Owner,
    }
}

fn role_in(number: i32) -> Result<Role, AccessRefusal> {
    match v1::Role::try_from(number) {
        Ok(v1::Role::Bay) => Ok(Role::Bay),
        Ok(v1::Role::Tuner) => Ok(Role::Tuner),
        Ok(v1::Role::Reviewer) => Ok(Role::Reviewer),
        Ok(v1::Role::Owner) => Ok(Role::Owner),
        Ok(v1::Role::Unspecified) | Err(_) => Err(AccessRefusal::field(
            "roles",
            format!("{number} is none"),
            "send ROLE_BAY, ROLE_TUNER, ROLE_REVIEWER or ROLE_OWNER",
        )),
    }
}

/// Returns a token as the wire has it, without its secret.
pub fn token(entry: &TokenEntry, last_use: Option<UnixMillis>) -> v1::Token {
    v1::Token {
        token_id: entry.issue.id.to_string(),
        member: entry.issue.member.to_string(),
        create_time: Some(timestamp(entry.issued_at)),
        creator: entry.issued_by.0.clone(),
        expire_time: entry.issue.expires_at.map(timestamp),
        revoke_time: entry.revoked_at.map(timestamp),
        last_use_time: last_use.map(timestamp),
    }
}

/// Returns the rules as the wire has them.
pub fn policy(policy: &Policy) -> v1::Policy {
    let seconds = policy
        .proposal_valid_s
        .map(|s| i64::try_from(s).unwrap_or(i64::MAX));
    v1::Policy {
        one_person: policy.one_person,
        proposal_valid_duration: seconds.map(|seconds| prost_types::Duration { seconds, nanos: 0 }),
    }
}

/// Returns the rules that a request describes.
///
/// # Errors
/// When they are missing, or a duration is negative.
pub fn policy_in(sent: Option<&v1::Policy>) -> Result<Policy, AccessRefusal> {
    let sent = sent.ok_or_else(|| {
        AccessRefusal::field(
            "policy",
            "is missing",
            "send all rules; those that are left out turn off",
        )
    })?;
    let seconds = sent.proposal_valid_duration.as_ref().map(|duration| {
        u64::try_from(duration.seconds).map_err(|_| {
            AccessRefusal::field(
                "policy.proposal_valid_duration",
                "is negative",
                "write a minute to ten years, or leave it out for ever",
            )
        })
    });
    Ok(Policy {
        one_person: sent.one_person,
        proposal_valid_s: seconds.transpose()?,
    })
}
