//! Ledgers that somebody changed, and what their checkpoints say to that.

use baytrim_ledger::{MemoryStore, StreamName};

use super::*;

const NOW: UnixMillis = UnixMillis(1_795_000_000_000);

fn signer() -> Signer {
    Signer::new(KEY_NAME, &[7; 32])
}

fn append(store: &dyn Store, stream: &str, body: &[u8]) {
    let stream = StreamName::new(stream).expect("a good name");
    let head = store.head(&stream).expect("reads");
    store
        .append(&stream, &head, &[body.to_vec()])
        .expect("lands");
}

/// Returns a ledger of three streams with two checkpoints, the first over four records.
fn ledger() -> (MemoryStore, Sealed, Sealed) {
    let store = MemoryStore::new();
    for (stream, body) in [
        ("job/a", "1"),
        ("job/a", "2"),
        ("job/b", "3"),
        ("shop", "4"),
    ] {
        append(&store, stream, body.as_bytes());
    }
    let (first, is_new) = make(&store, &signer(), NOW).expect("signed");
    assert!(is_new);
    append(&store, "job/a", b"5");
    let (second, is_new) = make(&store, &signer(), NOW).expect("signed");
    assert!(is_new);
    (store, first, second)
}

/// Returns the body that a record gets, by stream, number and body; none drops it.
type Edit<'a> = dyn Fn(&str, u64, Vec<u8>) -> Option<Vec<u8>> + 'a;

/// Returns a ledger, soundly chained, with the records that `edit` makes of another's: the body by stream and number.
fn rewritten(store: &dyn Store, edit: &Edit<'_>) -> MemoryStore {
    let copy = MemoryStore::new();
    for (stream, _) in store.streams("", None, 100).expect("lists") {
        for record in store.read(&stream, 0, 100).expect("reads") {
            if let Some(body) = edit(stream.as_str(), record.seq, record.body) {
                append(&copy, stream.as_str(), &body);
            }
        }
    }
    copy
}

fn fault(store: &dyn Store) -> String {
    check(store).expect("looks").1.unwrap_or_default()
}

fn against(store: &dyn Store, sealed: &Sealed) -> String {
    compare(store, &sealed.file, Some(signer().verifier()))
        .expect("the file is good")
        .unwrap_or_default()
}

/// If this fails, a ledger that nobody touched is called changed, or its checkpoints sign something else.
#[test]
fn an_untouched_ledger_holds() {
    let (store, first, second) = ledger();
    assert_eq!(check(&store).expect("looks"), (2, None));
    assert_eq!(
        (first.checkpoint.stream_count, first.checkpoint.record_count),
        (3, 4)
    );
    // The first checkpoint's own record is signed by the second.
    assert_eq!(
        (
            second.checkpoint.stream_count,
            second.checkpoint.record_count
        ),
        (4, 6)
    );
    assert_eq!(against(&store, &first), "");
    assert_eq!(against(&store, &second), "");
    let (again, is_new) = make(&store, &signer(), NOW).expect("signed");
    assert_eq!((again, is_new), (second, false));
    let copy = rewritten(&store, &|_, _, body| Some(body));
    assert_eq!(check(&copy).expect("looks"), (2, None));
    assert_eq!(against(&copy, &first), "");
}

/// If this fails, whoever can write to the directory can change history and chain it soundly, unseen.
#[test]
fn history_written_anew_is_found() {
    let (store, first, _) = ledger();
    let changed = |changed: &'static str, number: u64| {
        rewritten(&store, &move |stream, seq, body| {
            let is_it = stream == changed && seq == number;
            Some(if is_it { b"other".to_vec() } else { body })
        })
    };
    for (stream, seq) in [
        ("job/a", 0),
        ("job/a", 1),
        ("job/a", 2),
        ("job/b", 0),
        ("shop", 0),
    ] {
        let told = fault(&changed(stream, seq));
        assert!(
            told.contains(stream) && told.contains("written anew"),
            "{stream} {seq}: {told}"
        );
    }
    // With the checkpoints made anew as well, by somebody who has the key: the ledger agrees with itself, and the
    // file that was kept elsewhere does not.
    let forged = rewritten(&store, &|stream, seq, body| match (stream, seq) {
        (CHECKPOINT_STREAM, _) => None,
        ("job/a", 0) => Some(b"other".to_vec()),
        _ => Some(body),
    });
    let told = against(&forged, &first);
    assert!(
        told.contains("records were dropped") && told.contains("number 1"),
        "{told}"
    );
    make(&forged, &signer(), NOW).expect("signed");
    assert_eq!(fault(&forged), "");
    assert!(
        against(&forged, &first).starts_with("fork: checkpoint 1"),
        "{}",
        against(&forged, &first)
    );
}

/// If this fails, the end of a ledger can be cut off, or a whole job removed, unseen.
#[test]
fn what_was_dropped_is_found() {
    let (store, first, second) = ledger();
    let without = |drop: &dyn Fn(&str, u64) -> bool| {
        rewritten(&store, &|stream, seq, body| {
            (!drop(stream, seq)).then_some(body)
        })
    };
    for (stream, from) in [
        ("job/a", 2),
        ("job/a", 1),
        ("job/a", 0),
        ("job/b", 0),
        ("shop", 0),
    ] {
        let told = fault(&without(&|name, seq| name == stream && seq >= from));
        assert!(
            told.contains(stream) && told.contains("end was dropped"),
            "{stream} {from}: {told}"
        );
    }
    // With the checkpoint that signed the end: the ledger agrees with itself, the file does not.
    let cut = without(&|name, seq| {
        (name == "job/a" && seq >= 2) || (name == CHECKPOINT_STREAM && seq >= 1)
    });
    assert_eq!(fault(&cut), "");
    assert_eq!(against(&cut, &first), "");
    let told = against(&cut, &second);
    assert!(
        told.contains("has 1 checkpoints") && told.contains("number 2"),
        "{told}"
    );
}

/// If this fails, a checkpoint among the records can be changed, dropped, swapped or repeated unseen.
#[test]
fn a_touched_checkpoint_is_found() {
    let (store, ..) = ledger();
    let stream = StreamName::new(CHECKPOINT_STREAM).expect("a good name");
    let records = store.read(&stream, 0, 10).expect("reads");
    let bodies: Vec<_> = records.into_iter().map(|record| record.body).collect();
    let with = |bodies: &[Vec<u8>]| {
        let copy = rewritten(&store, &|name, _, body| {
            (name != CHECKPOINT_STREAM).then_some(body)
        });
        for body in bodies {
            append(&copy, CHECKPOINT_STREAM, body);
        }
        fault(&copy)
    };
    assert_eq!(with(&bodies), "");
    let [one, two] = [bodies[0].clone(), bodies[1].clone()];
    assert_ne!(with(std::slice::from_ref(&two)), "");
    assert_ne!(with(&[two.clone(), one.clone()]), "");
    assert_ne!(with(&[one.clone(), one.clone(), two.clone()]), "");
    assert_ne!(with(&[one.clone(), two.clone(), two.clone()]), "");
    for at in 0..two.len() {
        let mut broken = two.clone();
        broken[at] ^= 1;
        let told = with(&[one.clone(), broken.clone()]);
        assert_ne!(told, "", "byte {at}: {}", String::from_utf8_lossy(&broken));
    }
}

/// If this fails, a file signed by another key is believed, or a changed one.
#[test]
fn files_of_others_are_refused() {
    let (store, first, _) = ledger();
    let other = Signer::new(KEY_NAME, &[8; 32]);
    let refused = compare(&store, &first.file, Some(other.verifier()));
    assert!(matches!(refused, Err(Fault::Checkpoint(_))), "{refused:?}");
    let forged = first.checkpoint.seal(&other);
    let refused = compare(&store, &forged, None);
    assert!(matches!(refused, Err(Fault::Checkpoint(_))), "{refused:?}");
    for at in 0..first.file.len() {
        let mut broken = first.file.clone().into_bytes();
        broken[at] ^= 1;
        if let Ok(broken) = String::from_utf8(broken) {
            let refused = compare(&store, &broken, None);
            assert!(!matches!(refused, Ok(None)), "byte {at}: {broken}");
        }
    }
}

/// If this fails, a job can't be shown to be in an earlier checkpoint, or one that came later can.
#[test]
fn jobs_are_proven_by_the_checkpoint_that_is_named() {
    let (store, first, second) = ledger();
    for (number, count, sealed) in [(1, 2, &first), (2, 3, &second), (0, 3, &second)] {
        let proof = prove(&store, "job/a", "a", number).expect("proven");
        assert_eq!(proof.leaf.count, count);
        let checked = proof.check(signer().verifier()).expect("holds");
        assert_eq!(checked, sealed.checkpoint);
    }
    append(&store, "job/c", b"6");
    let refused = prove(&store, "job/c", "c", 0);
    assert!(refused.is_err_and(|fault| fault.to_string().contains("before there was a job c")));
    let refused = prove(&store, "job/a", "a", 3);
    assert!(refused.is_err_and(|fault| fault.to_string().contains("has 2 checkpoints")));
}
