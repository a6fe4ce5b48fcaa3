//! Commits that wait for a second copy.
//!
//! This test changes settings of the whole database, so that it starts one of its own.

use std::thread;
use std::time::Duration;

use baytrim_ledger::{AppendError, Head, Store as _, StreamName};
use baytrim_ledger_postgres::{Address, Options, PostgresStore};

#[path = "../kills/cluster.rs"]
mod cluster;

use cluster::Node;

/// If this fails, a commit whose wait for the second copy was cut short by an administrator is reported as durable.
#[test]
fn a_wait_that_is_cut_short_is_no_success() {
    let node = Node::first("waiting");
    let url = node.url();
    let options = Options {
        patience: Duration::from_secs(2),
        ..Options::default()
    };
    node.sql("alter system set synchronous_standby_names = ''");
    node.reload();
    let address = Address::parse(&url).expect("a good address");
    let (store, _) = PostgresStore::open(
        &address,
        &Options {
            single_copy: true,
            ..options.clone()
        },
    )
    .expect("opens");
    let stream: StreamName = "job/a".parse().expect("a name");
    let head = store
        .append(&stream, &Head::EMPTY, &[b"one".to_vec()])
        .expect("appends");
    // From now on nobody takes the second copy.
    node.sql("alter system set synchronous_standby_names = 'nobody'");
    node.reload();
    let ended = thread::scope(|scope| {
        let append = scope.spawn(|| store.append(&stream, &head, &[b"two".to_vec()]));
        // Cuts every wait short, again and again, until the append has ended.
        while !append.is_finished() {
            node.sql(
                "select pg_cancel_backend(pid) from pg_stat_activity where wait_event = 'SyncRep'",
            );
            thread::sleep(Duration::from_millis(50));
        }
        append.join().expect("no panic")
    });
    assert!(matches!(ended, Err(AppendError::Fault(_))), "{ended:?}");
    // It is there all the same, and whoever asks again is told so.
    node.sql("alter system set synchronous_standby_names = ''");
    node.reload();
    let again = store.append(&stream, &head, &[b"two".to_vec()]);
    let Err(AppendError::Conflict { head: real, .. }) = again else {
        panic!("{again:?}")
    };
    assert_eq!(real.next_seq, 2);
}
