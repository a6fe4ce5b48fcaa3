//! Requests that somebody sends again.

use baytrim_api::v1::watch_service_client::WatchServiceClient;
use baytrim_api::v1::{
    CreateMemberRequest, CreateTokenRequest, Member, Policy, RejectProposalRequest,
    RevokeTokenRequest, UpdatePolicyRequest, WatchRecordsRequest,
};

use crate::access::shop_of_four;
use crate::harness::{Daemon, by, token_of, told};

/// Returns the number of a job's records.
async fn records(daemon: &Daemon) -> u64 {
    let request = WatchRecordsRequest {
        parent: "jobs/j".to_owned(),
        start_sequence_number: 0,
    };
    let mut client = WatchServiceClient::new(daemon.channel.clone());
    let mut stream = client
        .watch_records(by("Odo", request))
        .await
        .unwrap()
        .into_inner();
    loop {
        let told = stream.message().await.unwrap().unwrap();
        if told.record.is_none() {
            return told.next_sequence_number;
        }
    }
}

/// If this fails, whoever overheard a request's id can have it done again, in their own name or for something else.
#[tokio::test]
async fn a_verdict_sent_again_is_given_once_by_who_gave_it() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let proposal = daemon.proposal("j").await;
    let request = RejectProposalRequest {
        name: proposal.name.clone(),
        etag: proposal.etag.clone(),
        reason: "p1 was cold".to_owned(),
        request_id: "verdict-1".to_owned(),
    };
    let first = daemon
        .reviews()
        .reject_proposal(by("Ines", request.clone()))
        .await
        .unwrap();
    let count = records(&daemon).await;
    let again = daemon
        .reviews()
        .reject_proposal(by("Odo", request.clone()))
        .await;
    let first = first.into_inner().proposal.unwrap();
    if let Ok(again) = again {
        let verdict = again.into_inner().proposal.unwrap().verdict;
        assert_eq!(verdict, first.verdict, "another is said to have given it");
    }
    let other = daemon.propose("j").await.unwrap();
    let count_with_other = records(&daemon).await;
    assert_eq!(count_with_other, count + 1);
    let reused = RejectProposalRequest {
        name: other.name,
        etag: other.etag,
        ..request
    };
    let reused = daemon.reviews().reject_proposal(by("Ines", reused)).await;
    assert_eq!(told(reused), "AlreadyExists REQUEST_ID_REUSED");
    assert_eq!(records(&daemon).await, count_with_other);
    daemon.stop().await;
}

/// If this fails, a request about members, tokens or rules that is sent again shows a token a second time, undoes
/// what was done since, or is taken for another.
#[tokio::test]
async fn what_owners_ask_for_is_done_once() {
    let (daemon, access) = shop_of_four().await;
    let mut owner = daemon.access(token_of("owner").text());
    let member = CreateMemberRequest {
        member: Some(Member {
            member: "Kim".to_owned(),
            roles: vec![baytrim_api::v1::Role::Tuner.into()],
            ..Member::default()
        }),
        request_id: "m-1".to_owned(),
    };
    let token = CreateTokenRequest {
        member: "Kim".to_owned(),
        request_id: "t-1".to_owned(),
        ..CreateTokenRequest::default()
    };
    owner.create_member(member.clone()).await.unwrap();
    let issued = owner
        .create_token(token.clone())
        .await
        .unwrap()
        .into_inner();
    let revoke = RevokeTokenRequest {
        token_id: issued.token.unwrap().token_id,
        reason: "lost".to_owned(),
        request_id: "r-1".to_owned(),
    };
    owner.revoke_token(revoke.clone()).await.unwrap();
    let policy = UpdatePolicyRequest {
        policy: Some(Policy {
            one_person: true,
            ..Policy::default()
        }),
        reason: "I work alone".to_owned(),
        request_id: "p-1".to_owned(),
    };
    owner.update_policy(policy.clone()).await.unwrap();
    let back = UpdatePolicyRequest {
        policy: Some(Policy::default()),
        reason: "not any more".to_owned(),
        request_id: "p-2".to_owned(),
    };
    owner.update_policy(back).await.unwrap();
    let count = access.state().record_count();
    owner.create_member(member).await.unwrap();
    assert_eq!(
        told(owner.create_token(token).await),
        "FailedPrecondition TOKEN_SHOWN_BEFORE"
    );
    owner.revoke_token(revoke).await.unwrap();
    owner.update_policy(policy).await.unwrap();
    assert!(
        !access.state().policy().one_person,
        "an old rule is in force again"
    );
    let other = RevokeTokenRequest {
        token_id: token_of("tuner").id().to_string(),
        reason: "lost".to_owned(),
        request_id: "t-1".to_owned(),
    };
    assert_eq!(
        told(owner.revoke_token(other).await),
        "AlreadyExists REQUEST_ID_REUSED"
    );
    assert_eq!(access.state().record_count(), count);
    daemon.stop().await;
}
