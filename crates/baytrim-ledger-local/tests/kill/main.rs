//! A process killed at random moments: what it was told is there.

use std::collections::BTreeMap;
use std::env;
use std::io::{BufRead as _, BufReader, Write as _};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::Duration;

use baytrim_ledger::{Hash, Store};
use baytrim_ledger_local::{LocalStore, Options};

#[expect(dead_code, reason = "the other tests use more of it")]
#[path = "../local/support.rs"]
mod support;

use support::{Random, name, open, small};

/// Names the directory for the child; its presence makes the child's test run.
const CHILD_DIR: &str = "BAYTRIM_LEDGER_KILL_DIR";
const KILLS: u64 = 30;

/// Segments that are full every few hundred writes.
fn options() -> Options {
    Options {
        segment_bytes: 50_000,
        spool_segment_bytes: 20_000,
        ..small()
    }
}

/// Is the child: writes from four threads until it is killed, printing what it is told.
#[test]
fn child() {
    #[expect(
        clippy::disallowed_methods,
        reason = "the parent test names the directory"
    )]
    let Some(dir) = env::var_os(CHILD_DIR) else {
        return;
    };
    let (store, _) = LocalStore::open(dir.as_ref(), &options()).expect("opens");
    let store: Arc<dyn Store> = Arc::new(store);
    std::thread::scope(|scope| {
        for writer in 0..4 {
            let store = Arc::clone(&store);
            scope.spawn(move || write_for_ever(&*store, writer));
        }
    });
}

fn write_for_ever(store: &dyn Store, writer: usize) {
    let (stream, spool) = (name(&format!("s/{writer}")), name(&format!("p/{writer}")));
    let mut head = store.head(&stream).expect("reads");
    loop {
        let bodies =
            vec![format!("record {} of {writer}", head.next_seq).into_bytes(); 1 + writer % 2];
        head = store.append(&stream, &head, &bodies).expect("appends");
        tell(&format!("R {stream} {} {}\n", head.next_seq, head.hash));
        let next = store.spool_len(&spool).expect("reads");
        if next == 20 {
            tell(&format!("D {spool}\n"));
            store.spool_drop(&spool).expect("drops");
            continue;
        }
        let next = store
            .spool_append(&spool, next, &[7; 100])
            .expect("appends");
        tell(&format!("C {spool} {next}\n"));
    }
}

/// One write per line, straight to the pipe.
fn tell(line: &str) {
    std::io::stdout()
        .lock()
        .write_all(line.as_bytes())
        .expect("the parent listens");
}

/// If this fails, a crash of the daemon takes something that a client was told is kept.
#[test]
fn a_killed_process_loses_nothing_that_it_acknowledged() {
    let dir = tempfile::TempDir::new().expect("a temporary directory");
    let mut told: BTreeMap<String, (u64, Hash)> = BTreeMap::new();
    let mut told_chunks: BTreeMap<String, u64> = BTreeMap::new();
    let mut lines = 0;
    for round in 0..KILLS {
        let mut child = Command::new(env::current_exe().expect("this test"))
            .args(["--exact", "child", "--nocapture", "--test-threads=1"])
            .env(CHILD_DIR, dir.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("starts");
        let output = BufReader::new(child.stdout.take().expect("piped"));
        let listener =
            std::thread::spawn(move || output.lines().map_while(Result::ok).collect::<Vec<_>>());
        std::thread::sleep(Duration::from_millis(80 + Random::new(round).next() % 300));
        child.kill().expect("kills");
        child.wait().expect("ends");
        for line in listener.join().expect("no panic") {
            lines += usize::from(note(&line, &mut told, &mut told_chunks));
        }
        let (store, report) = open(dir.path(), &options());
        assert!(report.losses.is_empty());
        for (stream, (next_seq, hash)) in &told {
            let records = store.read(&name(stream), next_seq - 1, 1).expect("reads");
            let record = records
                .first()
                .unwrap_or_else(|| panic!("round {round}: {stream} lost record {}", next_seq - 1));
            assert_eq!(record.hash, *hash, "round {round}: {stream} forked");
        }
        for (spool, next) in &told_chunks {
            assert!(
                store.spool_len(&name(spool)).expect("reads") >= *next,
                "round {round}: {spool} lost chunks"
            );
        }
        let verified = store.verify(&mut |_| ()).expect("looks");
        assert!(verified.is_sound(), "round {round}: {verified:?}");
    }
    assert!(
        lines > 300,
        "the child was told {lines} times only: no test"
    );
}

/// Takes note of a whole line; tells whether it was an acknowledgement.
fn note(
    line: &str,
    told: &mut BTreeMap<String, (u64, Hash)>,
    chunks: &mut BTreeMap<String, u64>,
) -> bool {
    match line.split(' ').collect::<Vec<_>>()[..] {
        ["R", stream, next_seq, hash] => {
            let (Ok(next_seq), Ok(hash)) = (next_seq.parse(), hash.parse()) else {
                return false;
            };
            told.insert(stream.to_owned(), (next_seq, hash));
            true
        }
        ["C", spool, next] => next.parse().is_ok_and(|next| {
            chunks.insert(spool.to_owned(), next);
            true
        }),
        ["D", spool] => {
            chunks.remove(spool);
            false
        }
        _ => false,
    }
}
