//! Observers while things fail, and the look at everything in the end.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use baytrim_api::v1::correction_service_client::CorrectionServiceClient;
use baytrim_api::v1::ledger_service_client::LedgerServiceClient;
use baytrim_api::v1::pull_service_client::PullServiceClient;
use baytrim_api::v1::{
    GetProposalRequest, ListPullsRequest, ListRecordsRequest, Record, VerifyLedgerRequest,
};
use tonic::Status;

use crate::anywhere::{Shop, Wire};
use crate::bearer::Bearer;
use crate::history::{Found, There};

/// Reads records of one job after the other, at one daemon after the other: what was read once must stay.
pub(crate) async fn observe(shop: Arc<Shop>, bearer: Bearer, stop: Arc<AtomicBool>) {
    for round in 0_usize.. {
        if stop.load(Ordering::Relaxed) {
            return;
        }
        let jobs: Vec<String> = shop.note(|history| history.jobs.keys().cloned().collect());
        if let Some(job) = jobs.get(round.wrapping_mul(7919) % jobs.len().max(1)) {
            let read = records(shop.wire(round, &bearer), job);
            let read = tokio::time::timeout(Duration::from_secs(20), read).await;
            for record in read.into_iter().flatten().flatten() {
                shop.note(|history| history.saw(job, record.sequence_number, &record.hash));
            }
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
}

async fn records(wire: Wire, job: &str) -> Result<Vec<Record>, Status> {
    let list = ListRecordsRequest {
        parent: job.to_owned(),
        page_size: 200,
        ..ListRecordsRequest::default()
    };
    let listed = LedgerServiceClient::new(wire).list_records(list).await?;
    Ok(listed.into_inner().records)
}

/// Waits until the daemon of that number answers, which one that was just started or cut off does after a moment.
pub(crate) async fn wait_for(shop: &Shop, number: usize, bearer: &Bearer) {
    let job = shop.note(|history| history.jobs.keys().next().unwrap().clone());
    for _ in 0..300 {
        if records(shop.wire(number, bearer), &job).await.is_ok() {
            return;
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    panic!("daemon {number} does not answer");
}

/// Returns what the daemon of that number says is there.
pub(crate) async fn everything(shop: &Shop, number: usize, bearer: &Bearer) -> There {
    let told = shop.note(|history| history.clone());
    let wire = shop.wire(number, bearer);
    let mut there = There::default();
    for job in told.jobs.keys() {
        let records = records(wire.clone(), job).await.unwrap();
        let found = records.into_iter().map(|record| Found {
            number: record.sequence_number,
            hash: record.hash,
            previous: record.previous_hash,
            kind: record.kind,
        });
        there.records.insert(job.clone(), found.collect());
        let list = ListPullsRequest {
            parent: job.clone(),
            page_size: 200,
            ..ListPullsRequest::default()
        };
        let pulls = PullServiceClient::new(wire.clone()).list_pulls(list).await;
        for pull in pulls.unwrap().into_inner().pulls {
            there
                .pulls
                .insert(pull.name, (pull.log_sha256, pull.sample_count));
        }
    }
    for name in told.verdicts.keys() {
        let get = GetProposalRequest { name: name.clone() };
        let got = CorrectionServiceClient::new(wire.clone())
            .get_proposal(get)
            .await;
        let state = got.unwrap().into_inner().proposal.unwrap().state;
        there.proposals.insert(name.clone(), state);
    }
    there
}

/// Has the daemon of that number prove the whole ledger; returns whether it holds.
pub(crate) async fn is_intact(shop: &Shop, number: usize, bearer: &Bearer) -> bool {
    let mut ledger = LedgerServiceClient::new(shop.wire(number, bearer));
    let verified = ledger.verify_ledger(VerifyLedgerRequest::default()).await;
    verified.unwrap().into_inner().intact
}
