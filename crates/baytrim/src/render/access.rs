//! Members, tokens and rules as pages.

use baytrim_api::v1::{GetCallerResponse, Member, Policy, Token};

use super::columns::{Edge, columns};
use super::style::RenderOptions;
use super::text::{minute, plain};
use crate::json::access::role_names;
use crate::name::number;

/// Returns one member in a line or two.
pub(crate) fn render_member(member: &Member) -> String {
    let name = plain(&member.member);
    if member.removed {
        return format!("{name} may do nothing any more; all tokens of that name are void.\n");
    }
    let mut page = format!("{name}: {}\n", role_names(member).join(", "));
    if !member.bay.is_empty() {
        page += &format!("Submits pulls of bay {} only\n", plain(number(&member.bay)));
    }
    if !member.answered_by.is_empty() {
        page += &format!("{} answers for it\n", plain(&member.answered_by));
    }
    page
}

/// Returns the members, one a line.
pub(crate) fn render_members(members: &[Member], options: &RenderOptions) -> String {
    let row = |member: &Member| {
        let mut notes = Vec::new();
        if member.removed {
            notes.push("removed".to_owned());
        }
        if !member.bay.is_empty() {
            notes.push(format!("bay {}", plain(number(&member.bay))));
        }
        if !member.answered_by.is_empty() {
            notes.push(format!("answered by {}", plain(&member.answered_by)));
        }
        [
            plain(&member.member),
            role_names(member).join(", "),
            minute(member.create_time.map(|time| time.to_string())),
            plain(&member.creator),
            notes.join(", "),
        ]
    };
    let rows: Vec<_> = members.iter().map(row).collect();
    let heads = [
        ("member", Edge::Left),
        ("roles", Edge::Left),
        ("added (UTC)", Edge::Left),
        ("by", Edge::Left),
        ("", Edge::Left),
    ];
    columns(heads, &rows, options)
}

/// Returns the tokens, one a line.
pub(crate) fn render_tokens(tokens: &[Token], options: &RenderOptions) -> String {
    let at = |time: Option<prost_types::Timestamp>, none: &str| match time {
        Some(time) => minute(Some(time.to_string())),
        None => none.to_owned(),
    };
    let row = |token: &Token| {
        [
            token.token_id.clone(),
            plain(&token.member),
            at(token.create_time, "-"),
            at(token.expire_time, "never"),
            at(token.last_use_time, "-"),
            token
                .revoke_time
                .map(|time| format!("void since {}", minute(Some(time.to_string()))))
                .unwrap_or_default(),
        ]
    };
    let rows: Vec<_> = tokens.iter().map(row).collect();
    let heads = [
        ("token", Edge::Left),
        ("member", Edge::Left),
        ("issued (UTC)", Edge::Left),
        ("expires", Edge::Left),
        ("last used", Edge::Left),
        ("", Edge::Left),
    ];
    columns(heads, &rows, options)
}

/// Returns the rules in sentences.
pub(crate) fn render_policy(policy: &Policy) -> String {
    let hands = if policy.one_person {
        "One person does everything here: who proposed may approve, and every verdict says so."
    } else {
        "Who proposed can't approve: a verdict takes a second person."
    };
    let valid = match &policy.proposal_valid_duration {
        Some(duration) => format!(
            "A proposal can be approved for {:.0} days.",
            duration.seconds as f64 / 86_400.0
        ),
        None => "A proposal can be approved for ever, while its base is in force.".to_owned(),
    };
    format!("{hands}\n{valid}\n")
}

/// Returns who the caller is.
pub(crate) fn render_caller(caller: &GetCallerResponse) -> String {
    let member = caller
        .member
        .as_ref()
        .map(render_member)
        .unwrap_or_default();
    format!("{member}Token {}\n", caller.token_id)
}
