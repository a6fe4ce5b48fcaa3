//! A database that has lost what this store was shown: nothing is read from it, nothing written to it, and it is said why.

use baytrim_ledger::{AppendError, Head, Store as _, StoreFault, StreamName};
use baytrim_ledger_postgres::{Address, PostgresStore};

use crate::support::{Place, single};

fn is_behind<T>(answer: &Result<T, StoreFault>) -> bool {
    matches!(answer, Err(StoreFault::Behind { .. }))
}

/// Puts away what a failover would lose, and returns the statement that brings it back.
fn lose(place: &Place, condition: &str) -> String {
    place.sql(&format!(
        "create table lost as select * from baytrim_record where {condition}; \
         delete from baytrim_record where {condition}"
    ));
    "insert into baytrim_record select * from lost; drop table lost".to_owned()
}

fn fill(store: &PostgresStore) -> (StreamName, StreamName, Head) {
    let (old, new): (StreamName, StreamName) = (
        "job/a".parse().expect("a name"),
        "job/b".parse().expect("a name"),
    );
    let bodies = [b"one".to_vec(), b"two".to_vec()];
    store.append(&old, &Head::EMPTY, &bodies).expect("appends");
    let head = store.append(&new, &Head::EMPTY, &bodies).expect("appends");
    (old, new, head)
}

/// If this fails, a daemon takes records that a failover lost for ones that never were: it tells a caller that a job is
/// unknown, or that others are recording all the time, or records on a history that forgot what it acknowledged.
#[test]
fn what_a_failover_lost_is_not_taken_for_never_written() {
    for condition in ["stream = 'job/b' and seq = 1", "stream = 'job/b'"] {
        let place = Place::new();
        let (store, _) = place.open();
        let (old, new, head) = fill(&store);
        let back = lose(&place, condition);
        // By whichever call it is met, and then by all, in other streams too.
        assert!(is_behind(&store.streams("", None, 100)), "{condition}");
        assert!(is_behind(&store.head(&new)));
        assert!(is_behind(&store.read(&new, 1, 10)));
        assert!(is_behind(&store.read(&old, 0, 10)));
        let appended = store.append(&new, &head, &[b"three".to_vec()]);
        let is_refused = matches!(appended, Err(AppendError::Fault(StoreFault::Behind { .. })));
        assert!(is_refused, "{appended:?}");
        // A store that was never shown them knows nothing: only a checkpoint kept elsewhere does.
        place.open().0.head(&new).expect("reads");
        place.sql(&back);
        assert_eq!(store.head(&new).expect("it is there again"), head);
        let three = store.append(&new, &head, &[b"three".to_vec()]);
        three.expect("appends");
        assert_eq!(store.streams("", None, 100).expect("lists").len(), 2);
    }
}

/// If this fails, a daemon records on a database that lacks the newest records before it has met one of the streams.
#[test]
fn a_new_connection_proves_itself_before_anything_is_written() {
    let place = Place::new();
    let url = format!("{}&application_name={}", place.url(None), place.schema);
    let address = Address::parse(&url).expect("a good address");
    let (store, _) = PostgresStore::open(&address, &single()).expect("opens");
    let (old, _, _) = fill(&store);
    let head = store.head(&old).expect("reads");
    let _back = lose(&place, "stream = 'job/b'");
    // As a failover does, it ends all connections.
    place.sql(&format!(
        "select pg_terminate_backend(pid) from pg_stat_activity where application_name = '{}'",
        place.schema
    ));
    let appended = store.append(&old, &head, &[b"three".to_vec()]);
    let is_refused = matches!(appended, Err(AppendError::Fault(StoreFault::Behind { .. })));
    assert!(is_refused, "{appended:?}");
    assert_eq!(place.count("select count(*) from baytrim_record"), 2);
}
