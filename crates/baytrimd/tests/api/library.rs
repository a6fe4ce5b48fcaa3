//! The library: what approved jobs teach, what a new job starts from, and that it can be computed again.

use baytrim_api::v1::library_service_client::LibraryServiceClient;
use baytrim_api::v1::{
    CreateJobRequest, CreateStageRequest, CreateStartingTableRequest, FindNearestRequest,
    FindNearestResponse, GetRevisionRequest, ListLibraryRequest, Proposal,
    ReproduceProposalRequest, RevertTableRequest, StageKind,
};
use tonic::Status;

use crate::bearer::Bearer;
use crate::harness::{Daemon, SOMEBODY, Wire, by, inner, job_file, log, token_of, told, upload_of};

impl Daemon {
    fn library(&self) -> LibraryServiceClient<Wire> {
        LibraryServiceClient::with_interceptor(
            self.channel.clone(),
            Bearer::of(token_of(SOMEBODY).text()),
        )
    }

    async fn open_vehicle(&self, id: &str, model: &str, parts: &str) {
        let vehicle = format!("[vehicle]\nmodel = {model:?}\nparts = [{parts}]\n[engine]");
        let request = CreateJobRequest {
            job_id: id.to_owned(),
            job_file: job_file().replace("[engine]", &vehicle),
            ..CreateJobRequest::default()
        };
        self.jobs().create_job(by("Ines", request)).await.unwrap();
    }

    /// Opens a job, pulls once and approves what comes of it.
    async fn tuned(&self, id: &str, parts: &str) {
        self.open_vehicle(id, "Demo twin 400", parts).await;
        // Another vehicle's log is another log.
        let log = log().replace("0,2000,10,", &format!("0,200{},10,", id.len()));
        self.upload(upload_of(id), log.as_bytes()).await.unwrap();
        let proposal = self.propose(id).await.unwrap();
        self.approve(&proposal).await;
    }
}

async fn nearest(daemon: &Daemon, job: &str) -> Result<FindNearestResponse, Status> {
    let request = FindNearestRequest {
        parent: format!("jobs/{job}"),
    };
    daemon.library().find_nearest(request).await.map(inner)
}

async fn start(daemon: &Daemon, job: &str, from: &[&str]) -> Result<Proposal, Status> {
    let request = CreateStartingTableRequest {
        parent: format!("jobs/{job}"),
        from_jobs: from.iter().map(|job| format!("jobs/{job}")).collect(),
        request_id: format!("start-{job}-{}", from.len()),
        ..CreateStartingTableRequest::default()
    };
    let mut library = daemon.library();
    let made = library.create_starting_table(by("Tova", request)).await?;
    Ok(made.into_inner().proposal.unwrap())
}

const BOTH: &str = "\"slip-on silencer\", \"open air filter\"";

/// If this fails, a new job does not start from the shop's own jobs of its kind, starts from others, is made leaner by
/// them, or what it started from can't be computed again once those jobs went on.
#[tokio::test]
async fn a_job_starts_from_its_kind_and_it_can_be_computed_again() {
    let daemon = Daemon::start().await;
    for (id, parts) in [("a", BOTH), ("ab", BOTH), ("abc", "\"slip-on silencer\"")] {
        daemon.tuned(id, parts).await;
    }
    daemon.open_vehicle("other", "Demo single 250", BOTH).await;
    daemon.open_vehicle("next", "demo TWIN-400", BOTH).await;
    let mut library = daemon.library();
    let listed = library.list_library(ListLibraryRequest::default()).await;
    let listed = inner(listed.unwrap()).entries;
    let jobs: Vec<&str> = listed.iter().map(|entry| entry.job.as_str()).collect();
    assert_eq!(jobs, ["jobs/a", "jobs/ab", "jobs/abc"]);
    assert_eq!(
        (listed[0].node_count, listed[0].measured_node_count),
        (12, 12)
    );

    let found = nearest(&daemon, "next").await.unwrap().entries;
    let distances: Vec<u32> = found.iter().map(|near| near.part_distance).collect();
    assert_eq!(distances, [0, 0, 1]);
    assert!(found[0].chosen && found[1].chosen && !found[2].chosen);
    assert_eq!(found[2].only_here, ["open air filter"]);

    let made = start(&daemon, "next", &[]).await.unwrap();
    assert_eq!(start(&daemon, "next", &[]).await.unwrap().name, made.name);
    let kept = made.start.clone().unwrap();
    assert_eq!(kept.sources.len(), 2);
    assert_eq!(kept.sources[0].job, "jobs/a");
    assert!(
        made.pulls.is_empty() && made.change_count == 12,
        "{}",
        made.change_count
    );
    for node in &made.nodes {
        assert!((2.0..6.0).contains(&node.after), "{}", node.after);
        assert!((node.measured_fraction, node.visits) == (0.0, 2));
    }
    assert!(made.fit.as_ref().unwrap().remarks[0].contains("a/r1, ab/r1"));

    // One of them goes on, and is put back to its base: it teaches no more, and what was learnt stands.
    let back = RevertTableRequest {
        parent: "jobs/a".to_owned(),
        revision: "r0".to_owned(),
        reason: "sold".to_owned(),
        ..RevertTableRequest::default()
    };
    daemon
        .tables()
        .revert_table(by("Ines", back))
        .await
        .unwrap();
    assert_eq!(nearest(&daemon, "next").await.unwrap().entries.len(), 2);
    let request = ReproduceProposalRequest {
        name: made.name.clone(),
    };
    let again = daemon.corrections().reproduce_proposal(request).await;
    assert!(inner(again.unwrap()).identical);

    // Approved like any other, it is the table in force and the beginning of the next fit.
    daemon.approve(&made).await;
    let request = GetRevisionRequest {
        name: "jobs/next/revisions/r1".to_owned(),
    };
    let revision = daemon.tables().get_revision(request).await.unwrap();
    let values = inner(revision).revision.unwrap().values;
    assert!(values.iter().all(|value| *value > 2.0), "{values:?}");
    let log = log().replace(",0.98", ",0.95").replace(",0.99", ",0.96");
    let pull = daemon.upload(upload_of("next"), log.as_bytes()).await;
    pull.unwrap();
    let told = daemon.propose("next").await.unwrap();
    let remarks = told.fit.as_ref().unwrap().remarks.clone();
    assert!(remarks[0].contains("of the kind"), "{remarks:?}");
    let request = ReproduceProposalRequest { name: told.name };
    let again = daemon.corrections().reproduce_proposal(request).await;
    assert!(inner(again.unwrap()).identical);
    daemon.stop().await;
}

/// If this fails, a job is started from vehicles that it has nothing in common with, or nobody learns why it is not.
#[tokio::test]
async fn what_does_not_help_is_told() {
    let daemon = Daemon::start().await;
    daemon.tuned("a", "").await;
    daemon.open_job("nameless").await;
    daemon.open_vehicle("other", "Demo single 250", "").await;
    daemon
        .open_vehicle("next", "Demo twin 400", "\"camshaft\"")
        .await;
    let refused = |made: Result<Proposal, Status>| told(made);
    assert_eq!(
        refused(start(&daemon, "nameless", &[]).await),
        "FailedPrecondition VEHICLE_NOT_SAID"
    );
    assert_eq!(
        refused(start(&daemon, "next", &[]).await),
        "FailedPrecondition LIBRARY_EMPTY"
    );
    assert_eq!(
        refused(start(&daemon, "other", &["a"]).await),
        "FailedPrecondition OTHER_KIND"
    );
    assert_eq!(
        refused(start(&daemon, "next", &["other"]).await),
        "FailedPrecondition NOTHING_TO_TEACH"
    );
    assert_eq!(
        refused(start(&daemon, "next", &["gone"]).await),
        "NotFound JOB_UNKNOWN"
    );
    assert_eq!(
        refused(start(&daemon, "next", &["next"]).await),
        "InvalidArgument FIELD_INVALID from_jobs"
    );
    let named = start(&daemon, "next", &["a"]).await.unwrap();
    let remarks = named.fit.unwrap().remarks;
    assert!(
        remarks[1].contains("Parts are not the same: a"),
        "{remarks:?}"
    );
    assert_eq!(nearest(&daemon, "next").await.unwrap().entries.len(), 1);
    // The parts that its file names came on after the pulls that its table was learnt from.
    let fitted = CreateStageRequest {
        parent: "jobs/a".to_owned(),
        kind: StageKind::PartsFitted.into(),
        ..CreateStageRequest::default()
    };
    daemon
        .stages()
        .create_stage(by("Ines", fitted))
        .await
        .unwrap();
    assert!(nearest(&daemon, "next").await.unwrap().entries.is_empty());
    daemon.stop().await;
}
