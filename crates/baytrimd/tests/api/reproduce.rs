//! Proposals computed again from the raw logs.

use std::sync::Arc;

use baytrim_api::v1::{ReproduceProposalRequest, ReproduceProposalResponse};
use baytrim_jobs::codec;
use baytrim_ledger::{Head, MemoryStore, Store, StreamName};
use baytrim_model::record::{JobEvent, JobRecord};
use baytrimd::config::ServiceLimits;
use tonic::Status;

use crate::harness::{Daemon, inner, log, told, upload_of};

async fn reproduce(daemon: &Daemon, name: &str) -> Result<ReproduceProposalResponse, Status> {
    let name = name.to_owned();
    let request = ReproduceProposalRequest { name };
    let again = daemon.corrections().reproduce_proposal(request).await;
    again.map(inner)
}

/// If this fails, the numbers that a revision rests on can't be computed again, or only while nothing came after.
#[tokio::test]
async fn proposals_come_out_the_same_after_all_that_followed() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let first = daemon.proposal("j").await;
    daemon.approve(&first).await;
    let richer = log().replace(",0.98", ",0.95").replace(",0.99", ",0.96");
    let second = daemon.upload(upload_of("j"), richer.as_bytes()).await;
    second.unwrap();
    let second = daemon.propose("j").await.unwrap();
    assert_eq!(second.pulls, ["p1", "p2"]);
    for (proposal, pulls) in [(first, 1), (second, 2)] {
        let again = reproduce(&daemon, &proposal.name).await.unwrap();
        assert!(again.identical, "{again:?}");
        assert_eq!(again.pulls.len(), pulls);
        assert!(again.pulls.iter().all(|pull| pull.evidence_identical));
        assert_eq!(again.node_count as usize, proposal.nodes.len());
        assert_eq!(
            (again.differing_node_count, again.other_value_count),
            (0, 0)
        );
    }
    let unknown = reproduce(&daemon, "jobs/j/proposals/c3").await;
    assert_eq!(told(unknown), "NotFound PROPOSAL_UNKNOWN");
    let unknown = reproduce(&daemon, "jobs/k/proposals/c1").await;
    assert_eq!(told(unknown), "NotFound JOB_UNKNOWN");
    daemon.stop().await;
}

/// If this fails, a number that the logs do not bear out passes for reproduced.
#[tokio::test]
async fn a_number_that_was_not_computed_is_found() {
    let store = Arc::new(MemoryStore::new());
    let daemon = Daemon::with(
        Arc::clone(&store) as Arc<dyn Store>,
        ServiceLimits::default(),
    )
    .await;
    daemon.open_job("j").await;
    daemon.proposal("j").await;
    daemon.stop().await;
    let forged = forge(&*store, |proposal| {
        proposal.nodes[5].correction_percent += 0.25;
        proposal.nodes[5].after += 0.1;
    });
    let daemon = Daemon::with(Arc::new(forged), ServiceLimits::default()).await;
    let again = reproduce(&daemon, "jobs/j/proposals/c1").await.unwrap();
    assert!(!again.identical);
    assert_eq!(
        (again.differing_node_count, again.other_value_count),
        (1, 1)
    );
    assert!((again.correction_difference_percent_max - 0.25).abs() < 1e-9);
    let node = &again.differing_nodes[0];
    assert_eq!((node.rpm, node.plate_percent), (4000.0, 40.0));
    daemon.stop().await;
}

/// Returns a ledger with the records and blobs of `store`, its proposal changed by `change`: a chain that
/// holds in itself.
fn forge(
    store: &dyn Store,
    change: impl Fn(&mut baytrim_model::proposal::Proposal),
) -> MemoryStore {
    let forged = MemoryStore::new();
    let stream = StreamName::new("job/j").unwrap();
    let mut head = Head::EMPTY;
    for record in store.read(&stream, 0, 100).unwrap() {
        let mut decoded: JobRecord = codec::decode(&record.body).unwrap();
        if let JobEvent::ProposalMade { proposal } = &mut decoded.event {
            change(proposal);
        }
        let body = codec::encode(&decoded).unwrap();
        head = forged.append(&stream, &head, &[body]).unwrap();
    }
    for (blob, _) in store.blobs(None, 100).unwrap() {
        let content = store.read_blob(&blob, 1 << 20).unwrap();
        forged.put_blob(&content).unwrap();
    }
    forged
}
