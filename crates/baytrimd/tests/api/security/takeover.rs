//! Live pulls that somebody else would go on with.

use std::sync::Arc;

use baytrim_ledger::{MemoryStore, Store};
use baytrim_model::shop::{Member, Role, ShopEvent};
use baytrimd::access::{Access, found};
use baytrimd::config::ServiceLimits;

use crate::harness::{Daemon, join, metadata, record, rows, token_of, told};
use crate::pulls::{Line, batches, open_of};

/// A shop of several people with the job `j`.
async fn started() -> Daemon {
    let store: Arc<dyn Store> = Arc::new(MemoryStore::new());
    let access = Access::open(Arc::clone(&store), None).unwrap();
    found(&access, &token_of("owner"), &[Role::Owner]).unwrap();
    for (name, role) in [
        ("unknown", Role::Tuner),
        ("tuner", Role::Tuner),
        ("bay-east", Role::Bay),
        ("bay-west", Role::Bay),
        ("spare", Role::Bay),
    ] {
        join(&access, name, &[role]);
    }
    let member = Member {
        name: "spare".parse().unwrap(),
        roles: [Role::Bay].into(),
        bay: None,
        answered_by: Some("bay-east".parse().unwrap()),
    };
    record(&access, &ShopEvent::MemberChanged { member });
    let daemon = Daemon::guarded(store, ServiceLimits::default(), access).await;
    daemon.open_job("j").await;
    daemon
}

/// If this fails, a bay can write into another's pull, cut its connection off, or see where it stands; or a tuner
/// can't save what a broken bay has begun.
#[tokio::test]
async fn only_who_began_a_live_pull_or_a_tuner_goes_on_with_it() {
    let daemon = started().await;
    let all = batches(&rows(), 1);
    let mut line = Line::try_open_as(&daemon, "bay-east", open_of("j"))
        .await
        .unwrap();
    line.send(all[0].clone());
    line.until(1).await;
    let refused = async |when: &str| {
        let status = match Line::try_open_as(&daemon, "bay-west", open_of("j")).await {
            Err(status) => status,
            Ok(line) => panic!("{when}: it may go on after {}", line.durable),
        };
        assert_eq!(metadata(&status, "durable_sequence_number"), "", "{when}");
        assert_eq!(
            told::<()>(Err(status)),
            "PermissionDenied PULL_OTHERS",
            "{when}"
        );
    };
    refused("while it is connected").await;
    // The other letters of the same name are the same pull.
    let mut capitals = open_of("j");
    capitals.request_id = capitals.request_id.to_uppercase();
    let status = Line::try_open_as(&daemon, "bay-west", capitals)
        .await
        .err()
        .unwrap();
    assert_eq!(told::<()>(Err(status)), "PermissionDenied PULL_OTHERS");
    line.send(all[1].clone());
    assert_eq!(
        line.until(2).await.durable_sequence_number,
        2,
        "the connection was cut off"
    );
    assert_eq!(told(line.hang_up().await), "Aborted STREAM_UNFINISHED");
    refused("after a break").await;
    // Who answers for it, and a tuner, even while it is connected.
    let line = Line::try_open_as(&daemon, "spare", open_of("j"))
        .await
        .unwrap();
    assert_eq!(line.durable, 2);
    let mut taken = Line::try_open_as(&daemon, "tuner", open_of("j"))
        .await
        .unwrap();
    assert_eq!(told(line.end().await), "Aborted STREAM_SUPERSEDED");
    taken.send(all[2].clone());
    taken.until(3).await;
    refused("after a tuner took it over").await;
    // Who began it gets it back.
    let mut line = Line::try_open_as(&daemon, "bay-east", open_of("j"))
        .await
        .unwrap();
    assert_eq!(line.durable, 3);
    for batch in &all[3..] {
        line.send(batch.clone());
    }
    let pull = line.finish().await;
    assert_eq!(pull.sample_count, rows().len() as u64);
    daemon.stop().await;
}
