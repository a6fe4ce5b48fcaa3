//! Signed checkpoints over the wire.

use baytrim_api::v1::{
    CreateCheckpointRequest, CreateCheckpointResponse, GetCheckpointProofRequest,
    VerifyLedgerRequest, VerifyLedgerResponse,
};
use baytrim_checkpoint::{Checkpoint, Proof, Verifier};

use crate::harness::{Daemon, inner, told};

async fn sign(daemon: &Daemon) -> CreateCheckpointResponse {
    let mut ledger = daemon.ledger();
    let made = ledger.create_checkpoint(CreateCheckpointRequest {}).await;
    inner(made.unwrap())
}

async fn verify(daemon: &Daemon, checkpoint: String) -> VerifyLedgerResponse {
    let asked = VerifyLedgerRequest { checkpoint };
    inner(daemon.ledger().verify_ledger(asked).await.unwrap())
}

/// If this fails, a stranger with the small file and the key can't tell what the ledger held, or the daemon can't
/// tell its own past from another's.
#[tokio::test]
async fn what_was_signed_is_proven_without_the_daemon() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let first = sign(&daemon).await;
    assert!(first.created);
    let first = first.checkpoint.unwrap();
    let key: Verifier = first.key.parse().unwrap();
    let file = String::from_utf8(first.content).unwrap();
    let opened = Checkpoint::open(&file, &key).unwrap();
    assert_eq!(
        (opened.number, opened.record_count),
        (1, first.record_count)
    );
    assert!(!sign(&daemon).await.created);

    daemon.open_job("k").await;
    let second = sign(&daemon).await;
    assert_eq!(
        (second.created, second.checkpoint.unwrap().number),
        (true, 2)
    );
    let ask = |job: &str, checkpoint_number| GetCheckpointProofRequest {
        job: format!("jobs/{job}"),
        checkpoint_number,
    };
    let proof = daemon.ledger().get_checkpoint_proof(ask("k", 0)).await;
    let proof = inner(proof.unwrap());
    let parsed = Proof::parse(&String::from_utf8(proof.content).unwrap()).unwrap();
    assert_eq!(parsed.check(&key).unwrap().number, 2);
    assert_eq!(
        (parsed.leaf.stream.as_str(), parsed.leaf.count),
        ("job/k", 1)
    );
    let mut ledger = daemon.ledger();
    let early = ledger.get_checkpoint_proof(ask("k", 1)).await;
    assert_eq!(told(early), "FailedPrecondition CHECKPOINT_WITHOUT_JOB");
    let none = ledger.get_checkpoint_proof(ask("k", 9)).await;
    assert_eq!(told(none), "NotFound CHECKPOINT_UNKNOWN");

    let found = verify(&daemon, file.clone()).await;
    assert!(found.intact, "{}", found.first_fault);
    assert_eq!(found.checkpoint_count, 2);
    let broken = file.replacen("number 1", "number 2", 1);
    let asked = VerifyLedgerRequest { checkpoint: broken };
    let refused = daemon.ledger().verify_ledger(asked).await;
    assert_eq!(told(refused), "InvalidArgument CHECKPOINT_INVALID");

    // Another ledger under the same key, as a restored one whose end is missing has it.
    let other = Daemon::start().await;
    other.open_job("j").await;
    let found = verify(&other, file.clone()).await;
    assert!(!found.intact && found.first_fault.contains("records were dropped"));
    other.open_job("x").await;
    sign(&other).await;
    let found = verify(&other, file).await;
    assert!(
        !found.intact && found.first_fault.starts_with("fork"),
        "{}",
        found.first_fault
    );
}
