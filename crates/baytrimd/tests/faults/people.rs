//! Tuners who bring in pulls and ask for proposals, and reviewers who decide on them at the same time.

use std::sync::atomic::{AtomicBool, Ordering};

use baytrim_api::v1::access_service_client::AccessServiceClient;
use baytrim_api::v1::correction_service_client::CorrectionServiceClient;
use baytrim_api::v1::job_service_client::JobServiceClient;
use baytrim_api::v1::pull_service_client::PullServiceClient;
use baytrim_api::v1::review_service_client::ReviewServiceClient;
use baytrim_api::v1::upload_pull_request::Message;
use baytrim_api::v1::{
    ApproveProposalRequest, CreateJobRequest, CreateMemberRequest, CreateProposalRequest,
    CreateTokenRequest, Member, OpenUpload, Proposal, Pull, RejectProposalRequest, Role,
    UploadPullRequest,
};
use tonic::{Code, Status};

use crate::anywhere::{Shop, Wire};
use crate::bearer::Bearer;
use crate::fixtures;
use crate::streaming;

/// Who acts.
#[derive(Clone)]
pub(crate) struct People {
    pub(crate) owner: Bearer,
    /// Two who decide on the same proposals at the same time.
    reviewers: [(&'static str, Bearer); 2],
}

impl People {
    /// Makes two reviewers.
    pub(crate) async fn join(shop: &Shop, owner: &Bearer) -> Self {
        let ines = ("Ines", member(shop, owner, "Ines").await);
        let odo = ("Odo", member(shop, owner, "Odo").await);
        Self {
            owner: owner.clone(),
            reviewers: [ines, odo],
        }
    }
}

async fn member(shop: &Shop, owner: &Bearer, name: &str) -> Bearer {
    let create = CreateMemberRequest {
        member: Some(Member {
            member: name.to_owned(),
            roles: vec![Role::Reviewer.into()],
            ..Member::default()
        }),
        request_id: format!("member-{name}"),
    };
    let joined = shop.anywhere("create member", owner, async |wire| {
        AccessServiceClient::new(wire)
            .create_member(create.clone())
            .await
    });
    joined.await.unwrap();
    let create = CreateTokenRequest {
        member: name.to_owned(),
        ..CreateTokenRequest::default()
    };
    let token = shop.anywhere("create token", owner, async |wire| {
        AccessServiceClient::new(wire)
            .create_token(create.clone())
            .await
    });
    Bearer::of(&token.await.unwrap().into_inner().secret)
}

/// Opens jobs, brings in pulls, asks for proposals and has them decided on, until told to stop.
pub(crate) async fn work(number: usize, shop: &Shop, people: &People, stop: &AtomicBool) {
    for round in 0.. {
        let job = format!("w{number}-{round}");
        open_job(shop, people, &job).await;
        for step in 0..2 {
            let name = format!("{job}-{step}");
            let pull = if step == 0 {
                upload(shop, people, &job, &name).await
            } else {
                streaming::pull(shop, &people.owner, &job, &name).await
            };
            shop.note(|history| {
                let what = (pull.log_sha256, pull.sample_count);
                history.pulls.insert(pull.name, what);
                *history.jobs.get_mut(&format!("jobs/{job}")).unwrap() += 1;
            });
            let proposal = propose(shop, people, &job, &name).await;
            decide(shop, people, &proposal).await;
            if stop.load(Ordering::Relaxed) {
                return;
            }
        }
    }
}

async fn open_job(shop: &Shop, people: &People, id: &str) {
    let create = CreateJobRequest {
        job_id: id.to_owned(),
        request_id: format!("job-{id}"),
        ..fixtures::job()
    };
    let opened = shop.anywhere("open job", &people.owner, async |wire| {
        JobServiceClient::new(wire).create_job(create.clone()).await
    });
    opened.await.unwrap();
    shop.note(|history| history.jobs.insert(format!("jobs/{id}"), 0));
}

async fn upload(shop: &Shop, people: &People, job: &str, name: &str) -> Pull {
    let open = OpenUpload {
        parent: format!("jobs/{job}"),
        bay: "east".to_owned(),
        source_name: format!("{name}.csv"),
        request_id: format!("upload-{name}"),
        ..OpenUpload::default()
    };
    let log = fixtures::log(name).into_bytes();
    let chunks = log
        .chunks(10_000)
        .map(|chunk| Message::Chunk(chunk.to_vec()));
    let messages = std::iter::once(Message::Open(open)).chain(chunks);
    let messages: Vec<_> = messages
        .map(|message| UploadPullRequest {
            message: Some(message),
        })
        .collect();
    let uploaded = shop.anywhere("upload", &people.owner, async |wire| {
        let messages = tokio_stream::iter(messages.clone());
        PullServiceClient::new(wire).upload_pull(messages).await
    });
    uploaded.await.unwrap().into_inner().pull.unwrap()
}

async fn propose(shop: &Shop, people: &People, job: &str, name: &str) -> Proposal {
    let create = CreateProposalRequest {
        parent: format!("jobs/{job}"),
        request_id: format!("proposal-{name}"),
        ..CreateProposalRequest::default()
    };
    let made = shop.anywhere("propose", &people.owner, async |wire| {
        CorrectionServiceClient::new(wire)
            .create_proposal(create.clone())
            .await
    });
    made.await.unwrap().into_inner().proposal.unwrap()
}

/// Has one reviewer approve and the other reject at the same time; one of them wins.
async fn decide(shop: &Shop, people: &People, proposal: &Proposal) {
    let [(first, ines), (second, odo)] = &people.reviewers;
    let approve = ApproveProposalRequest {
        name: proposal.name.clone(),
        etag: proposal.etag.clone(),
        reason: "plugs read well".to_owned(),
        request_id: format!("approve-{}", proposal.name.replace('/', "-")),
        ..ApproveProposalRequest::default()
    };
    let reject = RejectProposalRequest {
        name: proposal.name.clone(),
        etag: proposal.etag.clone(),
        reason: "plugs do not read well".to_owned(),
        request_id: format!("reject-{}", proposal.name.replace('/', "-")),
    };
    let approved = shop.anywhere("decide", ines, async |wire: Wire| {
        let answer = ReviewServiceClient::new(wire)
            .approve_proposal(approve.clone())
            .await?;
        Ok(answer.into_inner().proposal)
    });
    let rejected = shop.anywhere("decide", odo, async |wire: Wire| {
        let answer = ReviewServiceClient::new(wire)
            .reject_proposal(reject.clone())
            .await?;
        Ok(answer.into_inner().proposal)
    });
    let (approved, rejected) = tokio::join!(approved, rejected);
    let told = [(first, approved), (second, rejected)];
    let winners = told
        .into_iter()
        .filter_map(|(who, told)| won(shop, who, told));
    assert_eq!(winners.count(), 1, "{}", proposal.name);
}

/// Notes who was told that the verdict is theirs; the other is told that it is not.
fn won(shop: &Shop, who: &str, told: Result<Option<Proposal>, Status>) -> Option<()> {
    match told {
        Ok(proposal) => {
            let proposal = proposal.unwrap();
            shop.note(|history| history.decided(&proposal.name, who, proposal.state));
            Some(())
        }
        Err(status) => {
            assert_eq!(status.code(), Code::FailedPrecondition, "{status:?}");
            None
        }
    }
}
