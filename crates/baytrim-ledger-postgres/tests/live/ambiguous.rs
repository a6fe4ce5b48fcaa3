//! Answers that are lost: what landed is found, what did not is done again, nothing lands twice.

use std::sync::atomic::Ordering;

use baytrim_ledger::conformance::{self, Fixture as _};
use baytrim_ledger::{Head, Store as _, StreamName, chain};

use crate::proxy;
use crate::support::{InPlace, Place, single};

/// If this fails, a record is lost or there twice, or the caller is told something else than what happened, when
/// the connection breaks around a commit.
#[test]
fn every_append_lands_once_whatever_is_cut() {
    let (port, cuts) = proxy::start();
    let place = Place::new();
    let (store, _) = place.open_with(Some(port), &single());
    let stream: StreamName = "job/cut".parse().expect("a name");
    let mut head = Head::EMPTY;
    for number in 0..100 {
        let bodies = [
            format!("first of {number}").into_bytes(),
            vec![7; number * 50],
        ];
        let expected = chain::seal(&stream, &head, bodies[0].clone());
        let expected = chain::seal(&stream, &expected.head_after(), bodies[1].clone());
        head = store.append(&stream, &head, &bodies).expect("appends");
        assert_eq!(head, expected.head_after());
    }
    let (direct, _) = place.open();
    assert_eq!(direct.head(&stream).expect("reads"), head);
    assert_eq!(place.count("select count(*) from baytrim_record"), 200);
    assert!(direct.verify(&mut |_| ()).expect("looks").is_sound());
    assert!(cuts.before.load(Ordering::SeqCst) >= 20);
    assert!(cuts.after.load(Ordering::SeqCst) >= 20);
    // What landed unheard was found by its key, and its second copy waited for.
    assert!(place.count("select count(*) from baytrim_mark") >= 15);
}

/// If this fails, two writers can both win one place when connections break around their commits.
#[test]
fn races_have_one_winner_whatever_is_cut() {
    let (port, cuts) = proxy::start();
    let mut fixture = InPlace::new(Some(port));
    conformance::race_has_one_winner_per_position(&mut fixture);
    drop(fixture);
    let mut fixture = InPlace::new(Some(port));
    conformance::spool_race_has_one_winner_per_position(&mut fixture);
    assert!(
        fixture
            .store()
            .verify(&mut |_| ())
            .expect("looks")
            .is_sound()
    );
    assert!(cuts.before.load(Ordering::SeqCst) >= 20);
    assert!(cuts.after.load(Ordering::SeqCst) >= 20);
}
