//! Records: appended in order, all or none, read back as they were.

use super::{Fixture, assert_sound, bodies, name, read_all};
use crate::chain;
use crate::error::AppendError;
use crate::limits::{APPEND_BODIES_MAX, APPEND_BYTES_MAX, BODY_BYTES_MAX, READ_BYTES_MAX};
use crate::record::Head;

/// The head returned is the head that the documented hash gives, and reading gives back the same records.
pub fn append_returns_the_chain(fixture: &mut dyn Fixture) {
    let stream = name("jobs/j-1");
    let mut head = Head::EMPTY;
    assert_eq!(fixture.store().head(&stream).expect("reads"), Head::EMPTY);
    assert!(
        fixture
            .store()
            .read(&stream, 0, 10)
            .expect("reads")
            .is_empty()
    );
    for text in ["one", "two", "three"] {
        let record = chain::seal(&stream, &head, text.as_bytes().to_vec());
        head = fixture
            .store()
            .append(&stream, &head, &bodies(&[text]))
            .expect("appends");
        assert_eq!(head, record.head_after());
        assert_eq!(fixture.store().head(&stream).expect("reads"), head);
        assert_eq!(
            fixture.store().read(&stream, record.seq, 1).expect("reads"),
            vec![record]
        );
    }
    fixture.reopen();
    assert_eq!(fixture.store().head(&stream).expect("reads"), head);
    let texts: Vec<_> = read_all(&*fixture.store(), &stream)
        .into_iter()
        .map(|record| record.body)
        .collect();
    assert_eq!(texts, bodies(&["one", "two", "three"]));
    let store = fixture.store();
    assert_eq!(store.read(&stream, 1, 1).expect("reads").len(), 1);
    assert_eq!(store.read(&stream, 1, 0).expect("reads").len(), 0);
    assert!(store.read(&stream, 3, 9).expect("reads").is_empty());
    assert!(
        store
            .read(&stream, u64::MAX, usize::MAX)
            .expect("reads")
            .is_empty()
    );
    assert_sound(&*store);
}

/// Several bodies land together or, refused, not at all.
pub fn append_is_all_or_none(fixture: &mut dyn Fixture) {
    let store = fixture.store();
    let stream = name("jobs/j-1");
    let head = store
        .append(&stream, &Head::EMPTY, &bodies(&["a", "b", "c"]))
        .expect("appends");
    assert_eq!(head.next_seq, 3);
    store
        .append(&stream, &Head::EMPTY, &bodies(&["x", "y"]))
        .expect_err("stale head");
    let too_long = vec![b"fine".to_vec(), vec![0; BODY_BYTES_MAX + 1]];
    store
        .append(&stream, &head, &too_long)
        .expect_err("too long");
    assert_eq!(
        store.append(&stream, &head, &[]).expect("compares only"),
        head
    );
    assert_eq!(
        store
            .append(&name("jobs/none"), &Head::EMPTY, &[])
            .expect("compares only"),
        Head::EMPTY
    );
    assert!(
        store
            .streams("", None, 9)
            .expect("lists")
            .iter()
            .all(|(stream, _)| stream.as_str() == "jobs/j-1")
    );
    let texts: Vec<_> = read_all(&*store, &stream)
        .into_iter()
        .map(|record| record.body)
        .collect();
    assert_eq!(texts, bodies(&["a", "b", "c"]));
}

/// Whoever comes second is told the head that won; a head with a right count and a wrong hash is stale too.
pub fn conflict_tells_the_head(fixture: &mut dyn Fixture) {
    let store = fixture.store();
    let stream = name("jobs/j-1");
    let head = store
        .append(&stream, &Head::EMPTY, &bodies(&["a"]))
        .expect("appends");
    let forged = Head {
        next_seq: 1,
        hash: crate::Hash::of(b"other"),
    };
    let ahead = Head {
        next_seq: 2,
        hash: head.hash,
    };
    for stale in [Head::EMPTY, forged, ahead] {
        match store.append(&stream, &stale, &bodies(&["b"])) {
            Err(AppendError::Conflict {
                stream: told,
                head: real,
            }) => assert_eq!((told, real), (stream.clone(), head)),
            other => panic!("{stale:?} gave {other:?}"),
        }
        match store.append(&stream, &stale, &[]) {
            Err(AppendError::Conflict { head: real, .. }) => assert_eq!(real, head),
            other => panic!("{stale:?} gave {other:?}"),
        }
    }
    let elsewhere = store.append(&name("jobs/j-2"), &head, &bodies(&["b"]));
    assert!(matches!(
        elsewhere,
        Err(AppendError::Conflict {
            head: Head::EMPTY,
            ..
        })
    ));
}

/// What exceeds a limit is refused by name, what just meets it is taken.
pub fn limits_are_held(fixture: &mut dyn Fixture) {
    let store = fixture.store();
    let stream = name("jobs/j-1");
    let refused = [
        vec![vec![1; BODY_BYTES_MAX + 1]],
        vec![Vec::new(); APPEND_BODIES_MAX + 1],
        vec![vec![1; BODY_BYTES_MAX]; APPEND_BYTES_MAX / BODY_BYTES_MAX + 1],
    ];
    for bodies in refused {
        let result = store.append(&stream, &Head::EMPTY, &bodies);
        assert!(
            matches!(result, Err(AppendError::TooLarge { .. })),
            "{result:?}"
        );
    }
    assert_eq!(store.head(&stream).expect("reads"), Head::EMPTY);
    let head = store
        .append(&stream, &Head::EMPTY, &vec![Vec::new(); APPEND_BODIES_MAX])
        .expect("appends");
    let largest = vec![vec![1; BODY_BYTES_MAX]; APPEND_BYTES_MAX / BODY_BYTES_MAX];
    store.append(&stream, &head, &largest).expect("appends");
    assert_eq!(
        read_all(&*store, &stream).len(),
        APPEND_BODIES_MAX + largest.len()
    );
}

/// Empty, binary, non-English and largest bodies come back byte for byte, after reopening too.
pub fn bodies_of_every_kind_come_back(fixture: &mut dyn Fixture) {
    let stream = name("a");
    let kinds = vec![
        Vec::new(),
        "Prüfstand 3: λ zu mager, 検査".as_bytes().to_vec(),
        (0..=255).collect(),
        vec![0; 4096],
        vec![0xff; BODY_BYTES_MAX],
        b"\n".to_vec(),
    ];
    fixture
        .store()
        .append(&stream, &Head::EMPTY, &kinds)
        .expect("appends");
    for _ in 0..2 {
        let found: Vec<_> = read_all(&*fixture.store(), &stream)
            .into_iter()
            .map(|record| record.body)
            .collect();
        assert_eq!(found, kinds);
        fixture.reopen();
    }
}

/// A read hands over at most its limit of bytes, yet always goes on.
pub fn reads_stop_early_by_bytes(fixture: &mut dyn Fixture) {
    let store = fixture.store();
    let stream = name("a");
    let mut head = Head::EMPTY;
    for _ in 0..12 {
        head = store
            .append(&stream, &head, &[vec![7; BODY_BYTES_MAX]])
            .expect("appends");
    }
    let part = store.read(&stream, 0, 100).expect("reads");
    assert_eq!(part.len(), READ_BYTES_MAX / BODY_BYTES_MAX);
    assert_eq!(read_all(&*store, &stream).len(), 12);
}

/// Streams are listed in byte order, by prefix, page by page.
pub fn streams_list_by_prefix(fixture: &mut dyn Fixture) {
    let names = [
        "a", "jobs", "jobs-x", "jobs.y", "jobs/a", "jobs/a/b", "jobs/b", "jobsz", "z",
    ];
    for text in names.iter().rev() {
        fixture
            .store()
            .append(&name(text), &Head::EMPTY, &bodies(&[text]))
            .expect("appends");
    }
    for _ in 0..2 {
        let store = fixture.store();
        let list = |prefix: &str, after: Option<&str>, limit| -> Vec<String> {
            let found = store
                .streams(prefix, after.map(name).as_ref(), limit)
                .expect("lists");
            found
                .into_iter()
                .map(|(stream, _)| stream.to_string())
                .collect()
        };
        assert_eq!(list("", None, 99), names);
        assert_eq!(list("jobs/", None, 99), ["jobs/a", "jobs/a/b", "jobs/b"]);
        assert_eq!(list("jobs/", Some("jobs/a"), 1), ["jobs/a/b"]);
        assert_eq!(list("jobs/", Some("a"), 1), ["jobs/a"]);
        assert_eq!(list("jobs/", Some("z"), 1), Vec::<String>::new());
        assert_eq!(list("nothing", None, 99), Vec::<String>::new());
        assert_eq!(list("", None, 0), Vec::<String>::new());
        let heads = store.streams("jobs/b", None, 1).expect("lists");
        assert_eq!(heads[0].1, store.head(&name("jobs/b")).expect("reads"));
        drop(store);
        fixture.reopen();
    }
}
