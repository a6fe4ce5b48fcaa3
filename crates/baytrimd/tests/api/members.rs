//! Members and tokens as an owner deals with them.

use baytrim_api::v1::{
    self, CreateMemberRequest, CreateTokenRequest, GetCallerRequest, ListJobsRequest, Policy,
    RemoveMemberRequest, RevokeTokenRequest, UpdatePolicyRequest, UploadPullRequest,
    upload_pull_request,
};
use baytrim_model::shop::Member;
use baytrimd::fault::AccessFault;

use crate::access::shop_of_four;
use crate::harness::{Daemon, inner, log, metadata, token_of, told, upload_of, with_token};

/// If this fails, a token or member that was made void still opens something.
#[tokio::test]
async fn what_is_revoked_opens_nothing() {
    let (daemon, access) = shop_of_four().await;
    let mut owner = daemon.access(token_of("owner").text());
    let issued = owner.create_token(CreateTokenRequest {
        member: "tuner".to_owned(),
        ..CreateTokenRequest::default()
    });
    let issued = inner(issued.await.unwrap());
    let id = issued.token.unwrap().token_id;
    let mut tuner = daemon.access(&issued.secret);
    let caller = inner(tuner.get_caller(GetCallerRequest {}).await.unwrap());
    assert_eq!(caller.member.unwrap().member, "tuner");
    let revoke = RevokeTokenRequest {
        token_id: id,
        reason: "tablet lost".to_owned(),
        request_id: "revoke-1".to_owned(),
    };
    owner.revoke_token(revoke.clone()).await.unwrap();
    // The same request again is the same answer; under another id it is refused.
    owner.revoke_token(revoke.clone()).await.unwrap();
    let other = RevokeTokenRequest {
        request_id: "revoke-2".to_owned(),
        ..revoke
    };
    assert_eq!(
        told(owner.revoke_token(other).await),
        "FailedPrecondition TOKEN_VOID"
    );
    assert_eq!(
        told(tuner.get_caller(GetCallerRequest {}).await),
        "Unauthenticated TOKEN_REVOKED"
    );
    let remove = RemoveMemberRequest {
        member: "reviewer".to_owned(),
        reason: "left".to_owned(),
        ..RemoveMemberRequest::default()
    };
    owner.remove_member(remove).await.unwrap();
    let reviewer = access.admit(Some(token_of("reviewer").text()), None);
    assert_eq!(reviewer.unwrap_err(), AccessFault::TokenRevoked);
    let last = RemoveMemberRequest {
        member: "owner".to_owned(),
        reason: "left".to_owned(),
        ..RemoveMemberRequest::default()
    };
    assert_eq!(
        told(owner.remove_member(last).await),
        "FailedPrecondition LAST_OWNER"
    );
    daemon.stop().await;
}

/// If this fails, sending a request again issues a second token, or another request passes for it.
#[tokio::test]
async fn request_ids_are_good_for_one_request() {
    let (daemon, access) = shop_of_four().await;
    let mut owner = daemon.access(token_of("owner").text());
    let request = CreateTokenRequest {
        member: "tuner".to_owned(),
        valid_days: 30,
        request_id: "again".to_owned(),
    };
    let first = inner(owner.create_token(request.clone()).await.unwrap());
    let again = owner.create_token(request).await.unwrap_err();
    assert_eq!(metadata(&again, "token_id"), first.token.unwrap().token_id);
    assert_eq!(
        told::<()>(Err(again)),
        "FailedPrecondition TOKEN_SHOWN_BEFORE"
    );
    let policy = UpdatePolicyRequest {
        policy: Some(Policy {
            one_person: true,
            ..Default::default()
        }),
        reason: "replayed".to_owned(),
        request_id: "again".to_owned(),
    };
    assert_eq!(
        told(owner.update_policy(policy).await),
        "AlreadyExists REQUEST_ID_REUSED"
    );
    assert!(!access.state().policy().one_person);
    assert_eq!(access.state().tokens().count(), 5);
    daemon.stop().await;
}

/// If this fails, the record names somebody else than whose token was shown.
#[tokio::test]
async fn nobody_acts_under_another_name() {
    let (daemon, _access) = shop_of_four().await;
    let mut request = with_token(token_of("tuner").text(), ListJobsRequest::default());
    request
        .metadata_mut()
        .insert("baytrim-actor", "reviewer".parse().unwrap());
    assert_eq!(
        told(daemon.jobs().list_jobs(request).await),
        "PermissionDenied ACTOR_OTHER"
    );
    let mut request = with_token(token_of("tuner").text(), ListJobsRequest::default());
    request
        .metadata_mut()
        .insert("baytrim-actor", "Tuner".parse().unwrap());
    daemon.jobs().list_jobs(request).await.unwrap();
    daemon.stop().await;
}

/// If this fails, a bay's token submits pulls of another bay.
#[tokio::test]
async fn a_bay_submits_its_own_pulls_only() {
    let daemon = Daemon::start().await;
    daemon.open_job("quoll-1").await;
    let mut owner = daemon.access(token_of("owner").text());
    let member = v1::Member {
        member: "bay-west".to_owned(),
        roles: vec![v1::Role::Bay.into()],
        bay: "bays/west".to_owned(),
        ..Default::default()
    };
    let request = CreateMemberRequest {
        member: Some(member),
        ..Default::default()
    };
    owner.create_member(request).await.unwrap();
    let request = CreateTokenRequest {
        member: "bay-west".to_owned(),
        ..Default::default()
    };
    let token = inner(owner.create_token(request).await.unwrap()).secret;
    let send = |bay: &str| {
        let mut open = upload_of("quoll-1");
        open.bay = bay.to_owned();
        let chunk = upload_pull_request::Message::Chunk(log().into_bytes());
        let messages = [upload_pull_request::Message::Open(open), chunk];
        let messages = messages.map(|message| UploadPullRequest {
            message: Some(message),
        });
        with_token(&token, tokio_stream::iter(messages))
    };
    assert_eq!(
        told(daemon.pulls().upload_pull(send("east")).await),
        "PermissionDenied BAY_OTHER"
    );
    daemon.pulls().upload_pull(send("west")).await.unwrap();
    daemon.stop().await;
}

/// If this fails, a member can have a name that reads like a path, or a role that there isn't.
#[tokio::test]
async fn members_are_sound() {
    let (daemon, access) = shop_of_four().await;
    let mut owner = daemon.access(token_of("owner").text());
    let before = access.state().record_count();
    for name in [
        "../owner",
        "a/b",
        "a\nb",
        "",
        " ",
        "OWNER",
        "baytrimd",
        "x\u{202e}y",
        &"x".repeat(81),
    ] {
        let member = v1::Member {
            member: name.to_owned(),
            roles: vec![v1::Role::Tuner.into()],
            ..Default::default()
        };
        let request = CreateMemberRequest {
            member: Some(member),
            ..Default::default()
        };
        owner.create_member(request).await.unwrap_err();
    }
    for (roles, bay) in [
        (vec![], ""),
        (vec![0], ""),
        (vec![99], ""),
        (vec![2], "bays/east"),
        (vec![1], "bays/../east"),
    ] {
        let member = v1::Member {
            member: "kim".to_owned(),
            roles,
            bay: bay.to_owned(),
            ..Default::default()
        };
        let request = CreateMemberRequest {
            member: Some(member),
            ..Default::default()
        };
        owner.create_member(request).await.unwrap_err();
    }
    assert_eq!(access.state().record_count(), before);
    let members: Vec<Member> = access
        .state()
        .members()
        .map(|entry| entry.member.clone())
        .collect();
    assert_eq!(members.len(), 4);
    daemon.stop().await;
}
