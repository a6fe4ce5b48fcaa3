//! Says who may do what.

use std::sync::Arc;

use baytrim_access::state::Outcome;
use baytrim_access::{AccessRefusal, ShopState, decide};
use baytrim_api::v1::access_service_server::AccessService;
use baytrim_api::v1::{
    CreateMemberRequest, CreateMemberResponse, CreateSignInRequest, CreateSignInResponse,
    CreateTokenRequest, CreateTokenResponse, GetCallerRequest, GetCallerResponse, GetPolicyRequest,
    GetPolicyResponse, ListMembersRequest, ListMembersResponse, ListTokensRequest,
    ListTokensResponse, Member, RemoveMemberRequest, RemoveMemberResponse, RevokeTokenRequest,
    RevokeTokenResponse, Token, UpdateMemberRequest, UpdateMemberResponse, UpdatePolicyRequest,
    UpdatePolicyResponse,
};
use baytrim_model::ids::Actor;
use baytrim_model::shop::{MemberName, ShopEvent, TokenId, TokenIssue};
use tonic::{Request, Response, Status};

use crate::access::{self, Admitted};
use crate::compute::blocking;
use crate::convert::access as convert;
use crate::convert::page::Page;
use crate::convert::request;
use crate::convert::time::timestamp;
use crate::fault::{AccessFault, Fault, InternalFault};

/// Where the link that signs in leads, before its code.
pub(crate) const SIGN_IN_PATH: &str = "/sign-in/";

/// The service about members, tokens and rules.
#[derive(Debug, Clone)]
pub(crate) struct Access {
    access: access::Access,
}

impl Access {
    /// Returns the service over `access`.
    pub(crate) fn new(access: access::Access) -> Self {
        Self { access }
    }

    /// Records what `plan` decides on, on a blocking thread.
    async fn record(
        &self,
        by: Actor,
        request_id: &str,
        is_same: impl Fn(&Outcome) -> bool + Send + 'static,
        mut plan: impl FnMut(&ShopState) -> Result<ShopEvent, AccessRefusal> + Send + 'static,
    ) -> Result<(Arc<ShopState>, Option<Outcome>), Fault> {
        let author = request::author(by, request_id)?;
        let access = self.access.clone();
        blocking(move || {
            let settled = access.decide(&author, &is_same, |state| Ok(vec![plan(state)?]))?;
            Ok((settled.state, settled.before))
        })
        .await
    }

    async fn record_member(
        &self,
        by: Actor,
        request_id: &str,
        name: MemberName,
        plan: impl FnMut(&ShopState) -> Result<ShopEvent, AccessRefusal> + Send + 'static,
    ) -> Result<Member, Fault> {
        let key = name.key();
        let is_same =
            move |outcome: &Outcome| matches!(outcome, Outcome::Member(name) if name.key() == key);
        let (state, _) = self.record(by, request_id, is_same, plan).await?;
        let is_it =
            |entry: &&baytrim_access::state::MemberEntry| entry.member.name.key() == name.key();
        let entry = state.members().find(is_it);
        let entry = entry.ok_or(InternalFault::Impossible("a recorded member is not known"))?;
        Ok(convert::member(entry))
    }

    fn token(&self, state: &ShopState, id: &TokenId) -> Result<Token, Fault> {
        let entry = state.token(id);
        let entry = entry.ok_or(InternalFault::Impossible("a recorded token is not known"))?;
        Ok(convert::token(entry, self.access.last_use(id)))
    }
}

#[tonic::async_trait]
impl AccessService for Access {
    async fn get_caller(
        &self,
        request: Request<GetCallerRequest>,
    ) -> Result<Response<GetCallerResponse>, Status> {
        let admitted = admitted(&request)?;
        let entry = admitted.shop.member(&admitted.caller.member.name);
        Ok(Response::new(GetCallerResponse {
            member: entry.map(convert::member),
            token_id: admitted.caller.token.to_string(),
            policy: Some(convert::policy(&admitted.caller.policy)),
        }))
    }

    async fn create_sign_in(
        &self,
        request: Request<CreateSignInRequest>,
    ) -> Result<Response<CreateSignInResponse>, Status> {
        let token = admitted(&request)?.caller.token.clone();
        let made = self.access.sessions().link(token, self.access.now());
        let (code, until) = made.map_err(Fault::from)?;
        Ok(Response::new(CreateSignInResponse {
            path: format!("{SIGN_IN_PATH}{code}"),
            expire_time: Some(timestamp(until)),
        }))
    }

    async fn create_member(
        &self,
        request: Request<CreateMemberRequest>,
    ) -> Result<Response<CreateMemberResponse>, Status> {
        let by = request::actor(&request);
        let request = request.into_inner();
        let member = convert::member_in(request.member.as_ref())?;
        let name = member.name.clone();
        let plan = move |state: &ShopState| decide::add_member(state, member.clone());
        let made = self.record_member(by, &request.request_id, name, plan);
        let member = Some(made.await?);
        Ok(Response::new(CreateMemberResponse { member }))
    }

    async fn update_member(
        &self,
        request: Request<UpdateMemberRequest>,
    ) -> Result<Response<UpdateMemberResponse>, Status> {
        let by = request::actor(&request);
        let request = request.into_inner();
        let member = convert::member_in(request.member.as_ref())?;
        let name = member.name.clone();
        let plan = move |state: &ShopState| decide::change_member(state, member.clone());
        let changed = self.record_member(by, &request.request_id, name, plan);
        let member = Some(changed.await?);
        Ok(Response::new(UpdateMemberResponse { member }))
    }

    async fn remove_member(
        &self,
        request: Request<RemoveMemberRequest>,
    ) -> Result<Response<RemoveMemberResponse>, Status> {
        let by = request::actor(&request);
        let request = request.into_inner();
        let name: MemberName = named(&request.member)?;
        let (removed, reason) = (name.clone(), request.reason);
        let plan = move |state: &ShopState| decide::remove_member(state, &removed, &reason);
        let removed = self.record_member(by, &request.request_id, name, plan);
        let member = Some(removed.await?);
        Ok(Response::new(RemoveMemberResponse { member }))
    }

    async fn list_members(
        &self,
        request: Request<ListMembersRequest>,
    ) -> Result<Response<ListMembersResponse>, Status> {
        let request = request.get_ref();
        let page = Page::parse("members", request.page_size, &request.page_token);
        let state = self.access.state();
        let key = |entry: &&baytrim_access::state::MemberEntry| entry.member.name.key();
        let (members, next_page_token) = page.map_err(Fault::from)?.cut(state.members(), key);
        Ok(Response::new(ListMembersResponse {
            members: members.into_iter().map(convert::member).collect(),
            next_page_token,
        }))
    }

    async fn create_token(
        &self,
        request: Request<CreateTokenRequest>,
    ) -> Result<Response<CreateTokenResponse>, Status> {
        let by = request::actor(&request);
        let request = request.into_inner();
        let member: MemberName = named(&request.member)?;
        let token = access::Token::make().map_err(Fault::from)?;
        let (issue, at) = (
            issue(&token, member, request.valid_days, self.access.now())?,
            self.access.now(),
        );
        let plan = move |state: &ShopState| decide::issue_token(state, issue.clone(), at);
        let is_same = |outcome: &Outcome| matches!(outcome, Outcome::Issued(_));
        let (state, before) = self.record(by, &request.request_id, is_same, plan).await?;
        if let Some(Outcome::Issued(id)) = before {
            return Err(Fault::from(AccessRefusal::ShownBefore(id)).into());
        }
        Ok(Response::new(CreateTokenResponse {
            token: Some(self.token(&state, token.id())?),
            secret: token.text().to_owned(),
        }))
    }

    async fn revoke_token(
        &self,
        request: Request<RevokeTokenRequest>,
    ) -> Result<Response<RevokeTokenResponse>, Status> {
        let by = request::actor(&request);
        let request = request.into_inner();
        let id: TokenId = request
            .token_id
            .parse()
            .map_err(AccessRefusal::from)
            .map_err(Fault::from)?;
        let (revoked, reason) = (id.clone(), request.reason);
        let same = Outcome::Revoked(id.clone());
        let is_same = move |outcome: &Outcome| *outcome == same;
        let plan = move |state: &ShopState| decide::revoke_token(state, &revoked, &reason);
        let (state, _) = self.record(by, &request.request_id, is_same, plan).await?;
        let token = Some(self.token(&state, &id)?);
        Ok(Response::new(RevokeTokenResponse { token }))
    }

    async fn list_tokens(
        &self,
        request: Request<ListTokensRequest>,
    ) -> Result<Response<ListTokensResponse>, Status> {
        let request = request.get_ref();
        let page = Page::parse("tokens", request.page_size, &request.page_token);
        let state = self.access.state();
        let key = |entry: &&baytrim_access::state::TokenEntry| entry.issue.id.to_string();
        let (tokens, next_page_token) = page.map_err(Fault::from)?.cut(state.tokens(), key);
        let tokens = tokens.into_iter();
        let tokens =
            tokens.map(|entry| convert::token(entry, self.access.last_use(&entry.issue.id)));
        Ok(Response::new(ListTokensResponse {
            tokens: tokens.collect(),
            next_page_token,
        }))
    }

    async fn get_policy(
        &self,
        _request: Request<GetPolicyRequest>,
    ) -> Result<Response<GetPolicyResponse>, Status> {
        let policy = Some(convert::policy(self.access.state().policy()));
        Ok(Response::new(GetPolicyResponse { policy }))
    }

    async fn update_policy(
        &self,
        request: Request<UpdatePolicyRequest>,
    ) -> Result<Response<UpdatePolicyResponse>, Status> {
        let by = request::actor(&request);
        let request = request.into_inner();
        let policy = convert::policy_in(request.policy.as_ref()).map_err(Fault::from)?;
        let reason = request.reason;
        let plan = move |_: &ShopState| decide::set_policy(policy, &reason);
        let is_same = |outcome: &Outcome| *outcome == Outcome::Policy;
        let (state, _) = self.record(by, &request.request_id, is_same, plan).await?;
        let policy = Some(convert::policy(state.policy()));
        Ok(Response::new(UpdatePolicyResponse { policy }))
    }
}

fn admitted<T>(request: &Request<T>) -> Result<&Admitted, Fault> {
    let admitted = request.extensions().get::<Admitted>();
    admitted.ok_or_else(|| AccessFault::TokenNotAccepted.into())
}

fn named(text: &str) -> Result<MemberName, Fault> {
    Ok(text.parse().map_err(AccessRefusal::from)?)
}

fn issue(
    token: &access::Token,
    member: MemberName,
    valid_days: i32,
    at: baytrim_model::ids::UnixMillis,
) -> Result<TokenIssue, Fault> {
    if valid_days < 0 {
        return Err(AccessRefusal::field(
            "valid_days",
            format!("{valid_days} is negative"),
            format!("write 1 to {} days, or 0 for ever", decide::TOKEN_DAYS_MAX),
        )
        .into());
    }
    let expires_at = (valid_days > 0).then(|| decide::days_after(at, valid_days.into()));
    Ok(TokenIssue {
        id: token.id().clone(),
        member,
        sha256: token.hash(),
        expires_at,
    })
}
