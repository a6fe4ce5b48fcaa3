//! Members, tokens and rules for scripts.

use baytrim_api::v1::{CreateSignInResponse, GetCallerResponse, Member, Policy, Role, Token};
use prost_types::Timestamp;
use serde::Serialize;

/// A member.
#[derive(Debug, Serialize)]
pub(crate) struct MemberJson<'a> {
    member: &'a str,
    roles: Vec<&'static str>,
    bay: Option<&'a str>,
    answered_by: Option<&'a str>,
    removed: bool,
    create_time: Option<String>,
    creator: &'a str,
}

impl<'a> MemberJson<'a> {
    pub(crate) fn new(member: &'a Member) -> Self {
        Self {
            member: &member.member,
            roles: role_names(member),
            bay: filled(member.bay.strip_prefix("bays/").unwrap_or(&member.bay)),
            answered_by: filled(&member.answered_by),
            removed: member.removed,
            create_time: time(member.create_time.as_ref()),
            creator: &member.creator,
        }
    }
}

fn filled(text: &str) -> Option<&str> {
    (!text.is_empty()).then_some(text)
}

fn time(time: Option<&Timestamp>) -> Option<String> {
    time.map(ToString::to_string)
}

/// Returns the roles of a member as the command line writes them.
pub(crate) fn role_names(member: &Member) -> Vec<&'static str> {
    let name = |role: Role| match role {
        Role::Bay => "bay",
        Role::Tuner => "tuner",
        Role::Reviewer => "reviewer",
        Role::Owner => "owner",
        Role::Unspecified => "unknown",
    };
    member.roles().map(name).collect()
}

/// The members.
#[derive(Debug, Serialize)]
pub(crate) struct MembersJson<'a> {
    members: Vec<MemberJson<'a>>,
}

impl<'a> MembersJson<'a> {
    pub(crate) fn new(members: &'a [Member]) -> Self {
        let members = members.iter().map(MemberJson::new).collect();
        Self { members }
    }
}

/// A token, without its secret unless that is asked for.
#[derive(Debug, Serialize)]
pub(crate) struct TokenJson<'a> {
    token_id: &'a str,
    member: &'a str,
    create_time: Option<String>,
    creator: &'a str,
    expire_time: Option<String>,
    revoke_time: Option<String>,
    last_use_time: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) token: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) output: Option<String>,
}

impl<'a> TokenJson<'a> {
    pub(crate) fn new(token: &'a Token) -> Self {
        Self {
            token_id: &token.token_id,
            member: &token.member,
            create_time: time(token.create_time.as_ref()),
            creator: &token.creator,
            expire_time: time(token.expire_time.as_ref()),
            revoke_time: time(token.revoke_time.as_ref()),
            last_use_time: time(token.last_use_time.as_ref()),
            token: None,
            output: None,
        }
    }
}

/// The tokens.
#[derive(Debug, Serialize)]
pub(crate) struct TokensJson<'a> {
    tokens: Vec<TokenJson<'a>>,
}

impl<'a> TokensJson<'a> {
    pub(crate) fn new(tokens: &'a [Token]) -> Self {
        let tokens = tokens.iter().map(TokenJson::new).collect();
        Self { tokens }
    }
}

/// The rules of the shop.
#[derive(Debug, Serialize)]
pub(crate) struct PolicyJson {
    one_person: bool,
    proposal_valid_s: Option<i64>,
}

impl PolicyJson {
    pub(crate) fn new(policy: &Policy) -> Self {
        let duration = policy.proposal_valid_duration.as_ref();
        Self {
            one_person: policy.one_person,
            proposal_valid_s: duration.map(|duration| duration.seconds),
        }
    }
}

/// Who the caller is.
#[derive(Debug, Serialize)]
pub(crate) struct CallerJson<'a> {
    token_id: &'a str,
    member: Option<MemberJson<'a>>,
    policy: Option<PolicyJson>,
}

impl<'a> CallerJson<'a> {
    pub(crate) fn new(caller: &'a GetCallerResponse) -> Self {
        Self {
            token_id: &caller.token_id,
            member: caller.member.as_ref().map(MemberJson::new),
            policy: caller.policy.as_ref().map(PolicyJson::new),
        }
    }
}

/// A link that signs in once.
#[derive(Debug, Serialize)]
pub(crate) struct SignInJson {
    pub(crate) url: String,
    expire_time: Option<String>,
}

impl SignInJson {
    pub(crate) fn new(server: &str, made: &CreateSignInResponse) -> Self {
        Self {
            url: format!("{}{}", server.trim_end_matches('/'), made.path),
            expire_time: time(made.expire_time.as_ref()),
        }
    }
}
