//! `baytrim member …`, `token …`, `policy …`, `whoami` and `sign-in`.

use std::path::Path;

use baytrim_api::v1::access_service_client::AccessServiceClient;
use baytrim_api::v1::{
    CreateMemberRequest, CreateSignInRequest, CreateTokenRequest, GetCallerRequest,
    GetPolicyRequest, ListMembersRequest, ListTokensRequest, Member, Policy, RemoveMemberRequest,
    RevokeTokenRequest, Role, UpdateMemberRequest, UpdatePolicyRequest,
};
use prost_types::Duration;
use tokio::fs::{File, OpenOptions};
use tokio::io::AsyncWriteExt as _;

use super::pages::{PAGE_SIZE, all_pages};
use super::request_id;
use crate::args::access::{
    IssueArgs, MemberArgs, MemberCommand, PolicyArgs, PolicyCommand, RemoveArgs, RevokeArgs,
    RoleName, TokenCommand,
};
use crate::client::QUICK;
use crate::context::Context;
use crate::failure::Failure;
use crate::json::access::{
    CallerJson, MemberJson, MembersJson, PolicyJson, SignInJson, TokenJson, TokensJson,
};
use crate::render::access::{
    render_caller, render_member, render_members, render_policy, render_tokens,
};

/// Does what a command about members asks.
pub(crate) async fn member(
    command: &MemberCommand,
    context: &mut Context<'_>,
) -> Result<(), Failure> {
    let server = context.server().await?;
    let member = match command {
        MemberCommand::Add(args) => {
            let request = CreateMemberRequest {
                member: Some(described(args)),
                request_id: request_id(),
            };
            let answer = server.ask(QUICK, request, |channel, request| async move {
                AccessServiceClient::new(channel)
                    .create_member(request)
                    .await
            });
            answer.await?.member
        }
        MemberCommand::Set(args) => {
            let request = UpdateMemberRequest {
                member: Some(described(args)),
                request_id: request_id(),
            };
            let answer = server.ask(QUICK, request, |channel, request| async move {
                AccessServiceClient::new(channel)
                    .update_member(request)
                    .await
            });
            answer.await?.member
        }
        MemberCommand::Remove(RemoveArgs { member, reason }) => {
            let request = RemoveMemberRequest {
                member: member.clone(),
                reason: reason.clone(),
                request_id: request_id(),
            };
            let answer = server.ask(QUICK, request, |channel, request| async move {
                AccessServiceClient::new(channel)
                    .remove_member(request)
                    .await
            });
            answer.await?.member
        }
        MemberCommand::List => return members(context).await,
    };
    let member = member.ok_or_else(|| Failure::incomplete("member"))?;
    context.result(&MemberJson::new(&member), |_| render_member(&member))
}

fn described(args: &MemberArgs) -> Member {
    let role = |name: &RoleName| {
        i32::from(match name {
            RoleName::Bay => Role::Bay,
            RoleName::Tuner => Role::Tuner,
            RoleName::Reviewer => Role::Reviewer,
            RoleName::Owner => Role::Owner,
        })
    };
    Member {
        member: args.member.clone(),
        roles: args.roles.iter().map(role).collect(),
        bay: args
            .bay
            .as_ref()
            .map(|bay| bay.full.clone())
            .unwrap_or_default(),
        answered_by: args.answered_by.clone().unwrap_or_default(),
        ..Member::default()
    }
}

async fn members(context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let page = |page_token| {
        let request = ListMembersRequest {
            page_size: PAGE_SIZE,
            page_token,
        };
        let answer = server.ask(QUICK, request, |channel, request| async move {
            AccessServiceClient::new(channel)
                .list_members(request)
                .await
        });
        async {
            answer
                .await
                .map(|answer| (answer.members, answer.next_page_token))
        }
    };
    let members = all_pages(page).await?;
    context.result(&MembersJson::new(&members), |options| {
        render_members(&members, options)
    })
}

/// Does what a command about tokens asks.
pub(crate) async fn token(
    command: &TokenCommand,
    context: &mut Context<'_>,
) -> Result<(), Failure> {
    match command {
        TokenCommand::Issue(args) => issue(args, context).await,
        TokenCommand::Revoke(args) => revoke(args, context).await,
        TokenCommand::List => tokens(context).await,
    }
}

async fn issue(args: &IssueArgs, context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    // Opened before the token is there: one that can't be written down would be lost.
    let file = match &args.output {
        Some(path) => Some((path, open_new(path).await?)),
        None => None,
    };
    let request = CreateTokenRequest {
        member: args.member.clone(),
        valid_days: args.days.unwrap_or_default(),
        request_id: request_id(),
    };
    let answer = server.ask(QUICK, request, |channel, request| async move {
        AccessServiceClient::new(channel)
            .create_token(request)
            .await
    });
    let answer = answer.await;
    if let (Err(_), Some((path, _))) = (&answer, &file) {
        // Empty, and this command's own.
        let _ = tokio::fs::remove_file(path).await;
    }
    let made = answer?;
    if let Some((path, mut file)) = file {
        let line = format!("{}\n", made.secret);
        let trouble = |error| Failure::file("write the token to", path, &error);
        file.write_all(line.as_bytes()).await.map_err(trouble)?;
        file.sync_all().await.map_err(trouble)?;
    }
    let token = made.token.ok_or_else(|| Failure::incomplete("token"))?;
    let mut value = TokenJson::new(&token);
    value.output = args.output.as_ref().map(|path| path.display().to_string());
    value.token = args.print.then_some(made.secret.as_str());
    context.result(&value, |_| match &args.output {
        Some(path) => format!(
            "Token {} of {} is in {}. Nothing else holds it.\n",
            token.token_id,
            token.member,
            path.display()
        ),
        None => format!("{}\n", made.secret),
    })
}

/// Opens a new file that only its owner may read.
async fn open_new(path: &Path) -> Result<File, Failure> {
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    options.mode(0o600);
    let file = options.open(path).await;
    file.map_err(|error| Failure::file("write the token to", path, &error))
}

async fn revoke(args: &RevokeArgs, context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let request = RevokeTokenRequest {
        token_id: args.token_id.clone(),
        reason: args.reason.clone(),
        request_id: request_id(),
    };
    let answer = server.ask(QUICK, request, |channel, request| async move {
        AccessServiceClient::new(channel)
            .revoke_token(request)
            .await
    });
    let token = answer
        .await?
        .token
        .ok_or_else(|| Failure::incomplete("token"))?;
    context.result(&TokenJson::new(&token), |_| {
        format!("Token {} of {} is void.\n", token.token_id, token.member)
    })
}

async fn tokens(context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let page = |page_token| {
        let request = ListTokensRequest {
            page_size: PAGE_SIZE,
            page_token,
        };
        let answer = server.ask(QUICK, request, |channel, request| async move {
            AccessServiceClient::new(channel).list_tokens(request).await
        });
        async {
            answer
                .await
                .map(|answer| (answer.tokens, answer.next_page_token))
        }
    };
    let tokens = all_pages(page).await?;
    context.result(&TokensJson::new(&tokens), |options| {
        render_tokens(&tokens, options)
    })
}

/// Does what a command about the rules asks.
pub(crate) async fn policy(
    command: &PolicyCommand,
    context: &mut Context<'_>,
) -> Result<(), Failure> {
    let server = context.server().await?;
    let answer = server.ask(QUICK, GetPolicyRequest {}, |channel, request| async move {
        AccessServiceClient::new(channel).get_policy(request).await
    });
    let mut policy = answer
        .await?
        .policy
        .ok_or_else(|| Failure::incomplete("policy"))?;
    if let PolicyCommand::Set(args) = command {
        change(&mut policy, args);
        let request = UpdatePolicyRequest {
            policy: Some(policy),
            reason: args.reason.clone(),
            request_id: request_id(),
        };
        let answer = server.ask(QUICK, request, |channel, request| async move {
            AccessServiceClient::new(channel)
                .update_policy(request)
                .await
        });
        policy = answer
            .await?
            .policy
            .ok_or_else(|| Failure::incomplete("policy"))?;
    }
    context.result(&PolicyJson::new(&policy), |_| render_policy(&policy))
}

fn change(policy: &mut Policy, args: &PolicyArgs) {
    if let Some(one_person) = args.one_person {
        policy.one_person = one_person;
    }
    if let Some(days) = args.proposal_days {
        let seconds = days * 24 * 3600;
        policy.proposal_valid_duration = (days > 0).then_some(Duration { seconds, nanos: 0 });
    }
}

/// Says whom the token shows.
pub(crate) async fn whoami(context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let answer = server.ask(QUICK, GetCallerRequest {}, |channel, request| async move {
        AccessServiceClient::new(channel).get_caller(request).await
    });
    let caller = answer.await?;
    context.result(&CallerJson::new(&caller), |_| render_caller(&caller))
}

/// Makes a link that signs in to the page once.
pub(crate) async fn sign_in(context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let answer = server.ask(
        QUICK,
        CreateSignInRequest {},
        |channel, request| async move {
            AccessServiceClient::new(channel)
                .create_sign_in(request)
                .await
        },
    );
    let value = SignInJson::new(server.url(), &answer.await?);
    let page = format!("{}\n", value.url);
    context.tell("Good once, for five minutes, in a browser on the daemon's own machine:");
    context.result(&value, |_| page)
}
