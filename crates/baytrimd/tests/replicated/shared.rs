//! Any daemon takes any request, and each knows at once what the other has recorded.

use std::time::Duration;

use baytrim_api::v1::access_service_client::AccessServiceClient;
use baytrim_api::v1::correction_service_client::CorrectionServiceClient;
use baytrim_api::v1::job_service_client::JobServiceClient;
use baytrim_api::v1::ledger_service_client::LedgerServiceClient;
use baytrim_api::v1::watch_service_client::WatchServiceClient;
use baytrim_api::v1::{
    CreateMemberRequest, CreateProposalRequest, CreateTokenRequest, GetCallerRequest,
    GetJobRequest, ListRecordsRequest, Member, RevokeTokenRequest, Role, VerifyLedgerRequest,
    WatchProposalsRequest,
};
use tonic::Code;

use crate::bearer::Bearer;
use crate::daemons::{Daemon, Ledger, job, upload};

/// Longer than anything here takes on a busy machine.
const PATIENCE: Duration = Duration::from_secs(60);

fn propose(request_id: &str) -> CreateProposalRequest {
    CreateProposalRequest {
        parent: "jobs/j".to_owned(),
        request_id: request_id.to_owned(),
        ..CreateProposalRequest::default()
    }
}

/// If this fails, a request fails at one daemon because another has recorded what it builds on, or one of them decides
/// on what has been overtaken.
#[tokio::test]
async fn any_daemon_takes_any_request() {
    let ledger = Ledger::new();
    let (a, b) = (Daemon::on(&ledger).await, Daemon::on(&ledger).await);
    let mut jobs_a = a.with(JobServiceClient::with_interceptor);
    let mut jobs_b = b.with(JobServiceClient::with_interceptor);
    jobs_a.create_job(job()).await.unwrap();
    let name = GetJobRequest {
        name: "jobs/j".to_owned(),
    };
    jobs_b.get_job(name.clone()).await.unwrap();
    for round in 0..3 {
        let (near, far) = if round % 2 == 0 { (&a, &b) } else { (&b, &a) };
        upload(near, &format!("{round}.csv")).await.unwrap();
        let mut corrections = far.with(CorrectionServiceClient::with_interceptor);
        let made = corrections.create_proposal(propose("")).await.unwrap();
        assert_eq!(made.into_inner().proposal.unwrap().pulls.len(), round + 1);
    }
    // Both at once, again and again: each wins its place, and none is lost.
    let both = (0..6).map(|number| {
        let daemon = if number % 2 == 0 { &a } else { &b };
        let name = format!("both-{number}.csv");
        async move { upload(daemon, &name).await }
    });
    for uploaded in futures(both).await {
        uploaded.unwrap();
    }
    let records = ListRecordsRequest {
        parent: "jobs/j".to_owned(),
        page_size: 100,
        ..ListRecordsRequest::default()
    };
    let mut seen = Vec::new();
    for daemon in [&a, &b] {
        let mut client = daemon.with(LedgerServiceClient::with_interceptor);
        let listed = client
            .list_records(records.clone())
            .await
            .unwrap()
            .into_inner()
            .records;
        seen.push(
            listed
                .into_iter()
                .map(|record| record.hash)
                .collect::<Vec<_>>(),
        );
        let verified = client
            .verify_ledger(VerifyLedgerRequest::default())
            .await
            .unwrap();
        assert!(verified.into_inner().intact);
    }
    assert_eq!(seen[0].len(), 1 + 3 + 3 + 6);
    assert_eq!(seen[0], seen[1]);
}

async fn futures<F: Future>(all: impl Iterator<Item = F>) -> Vec<F::Output> {
    let mut all: Vec<_> = all.map(Box::pin).collect();
    let mut done: Vec<Option<F::Output>> = all.iter().map(|_| None).collect();
    std::future::poll_fn(|cx| {
        for (future, done) in all.iter_mut().zip(&mut done) {
            if done.is_none()
                && let std::task::Poll::Ready(value) = future.as_mut().poll(cx)
            {
                *done = Some(value);
            }
        }
        if done.iter().all(Option::is_some) {
            return std::task::Poll::Ready(());
        }
        std::task::Poll::Pending
    })
    .await;
    done.into_iter().flatten().collect()
}

/// If this fails, a proposal that is asked for at two daemons at once is computed twice, or there twice.
#[tokio::test]
async fn a_proposal_of_one_head_is_computed_once() {
    let ledger = Ledger::new();
    let (a, b) = (Daemon::on(&ledger).await, Daemon::on(&ledger).await);
    a.with(JobServiceClient::with_interceptor)
        .create_job(job())
        .await
        .unwrap();
    upload(&a, "pull.csv").await.unwrap();
    for round in 0..5 {
        let request = propose(&format!("proposal-{round}"));
        let asked = [&a, &b, &a, &b].map(|daemon| {
            let mut client = daemon.with(CorrectionServiceClient::with_interceptor);
            let request = request.clone();
            async move {
                client
                    .create_proposal(request)
                    .await
                    .unwrap()
                    .into_inner()
                    .proposal
                    .unwrap()
                    .name
            }
        });
        let names = futures(asked.into_iter()).await;
        assert!(
            names
                .iter()
                .all(|name| *name == format!("jobs/j/proposals/c{}", round + 1)),
            "{names:?}"
        );
    }
    let computed =
        a.figure("baytrim_proposals_computed_total") + b.figure("baytrim_proposals_computed_total");
    assert!((computed - 5.0).abs() < 0.5, "{computed} computed");
    assert_eq!(ledger.ask("select count(*) from baytrim_chunk"), "0");
}

/// If this fails, who watches at one daemon never hears, or hears late, of what was recorded at another.
#[tokio::test]
async fn a_watch_hears_of_other_daemons() {
    let ledger = Ledger::new();
    let (a, b) = (Daemon::on(&ledger).await, Daemon::on(&ledger).await);
    let mut watches = b.with(WatchServiceClient::with_interceptor);
    let mut heard = watches
        .watch_proposals(WatchProposalsRequest::default())
        .await
        .unwrap()
        .into_inner();
    // The first word is that nothing waits.
    assert_eq!(heard.message().await.unwrap().unwrap().proposal, None);
    a.with(JobServiceClient::with_interceptor)
        .create_job(job())
        .await
        .unwrap();
    upload(&a, "pull.csv").await.unwrap();
    let mut corrections = a.with(CorrectionServiceClient::with_interceptor);
    corrections.create_proposal(propose("")).await.unwrap();
    // Sooner than the slow look that every watch has by itself.
    let told = tokio::time::timeout(Duration::from_secs(4), heard.message()).await;
    let told = told.expect("in time").unwrap().unwrap();
    assert_eq!(told.proposal.unwrap().name, "jobs/j/proposals/c1");
}

/// If this fails, a token that one daemon has issued is refused by another, or one that is void is good there still.
#[tokio::test]
async fn tokens_are_good_everywhere_and_void_everywhere() {
    let ledger = Ledger::new();
    let (a, b) = (Daemon::on(&ledger).await, Daemon::on(&ledger).await);
    let mut members = a.with(AccessServiceClient::with_interceptor);
    let member = Member {
        member: "Ines".to_owned(),
        roles: vec![Role::Tuner.into()],
        ..Member::default()
    };
    let member = CreateMemberRequest {
        member: Some(member),
        ..CreateMemberRequest::default()
    };
    let member = members
        .create_member(member)
        .await
        .unwrap()
        .into_inner()
        .member
        .unwrap();
    let token = CreateTokenRequest {
        member: member.member,
        ..CreateTokenRequest::default()
    };
    let token = members.create_token(token).await.unwrap().into_inner();
    let caller = |daemon: &Daemon| {
        let bearer = Bearer::of(&token.secret);
        let mut client = AccessServiceClient::with_interceptor(daemon.channel.clone(), bearer);
        async move { client.get_caller(GetCallerRequest::default()).await }
    };
    caller(&b).await.unwrap();
    let revoke = RevokeTokenRequest {
        token_id: token.token.unwrap().token_id,
        reason: "lost".to_owned(),
        ..RevokeTokenRequest::default()
    };
    members.revoke_token(revoke).await.unwrap();
    caller(&a).await.unwrap_err();
    let refused = tokio::time::timeout(PATIENCE, async {
        loop {
            match caller(&b).await {
                Ok(_) => tokio::time::sleep(Duration::from_millis(50)).await,
                Err(refused) => return refused,
            }
        }
    });
    assert_eq!(
        refused.await.expect("in time").code(),
        Code::Unauthenticated
    );
}
