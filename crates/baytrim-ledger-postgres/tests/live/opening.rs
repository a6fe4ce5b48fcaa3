//! Opening: what is refused, and how tables come to be.

use std::path::Path;
use std::process::Command;
use std::thread;

use baytrim_ledger::{Head, Store as _, StreamName};
use baytrim_ledger_postgres::{Address, OpenError, Options, PostgresStore, SCHEMA_VERSION};

use crate::support::{Place, single, told};

fn refused(url: &str, options: &Options) -> OpenError {
    let address = Address::parse(url).expect("a good address");
    match PostgresStore::open(&address, options) {
        Ok(_) => panic!("it was opened"),
        Err(error) => error,
    }
}

/// If this fails, the daemon serves from a database that loses what it was told is recorded, and nobody asked for that.
#[test]
fn databases_without_a_second_copy_are_refused_unless_told() {
    let place = Place::new();
    let refusal = refused(&place.url(None), &Options::default());
    assert!(
        matches!(
            refusal,
            OpenError::NotDurable {
                setting: "synchronous_standby_names",
                ..
            }
        ),
        "{refusal}"
    );
    let hasty = place.url(None) + "%20-c%20synchronous_commit%3Doff";
    let refusal = refused(&hasty, &single());
    assert!(
        matches!(
            refusal,
            OpenError::NotDurable {
                setting: "synchronous_commit",
                ..
            }
        ),
        "{refusal}"
    );
    place.open();
}

/// If this fails, a program writes into tables that it does not know, or an older one changes them back.
#[test]
fn tables_of_a_later_program_are_refused() {
    let place = Place::new();
    let (_, report) = place.open();
    assert_eq!(report.schema_before, None);
    assert_eq!(place.open().1.schema_before, Some(SCHEMA_VERSION));
    place.sql(&format!(
        "insert into baytrim_schema (version) values ({})",
        SCHEMA_VERSION + 1
    ));
    let refusal = refused(&place.url(None), &single());
    assert!(
        matches!(refusal, OpenError::NewerSchema { .. }),
        "{refusal}"
    );
}

/// If this fails, several daemons that start at once on a new database get in each other's way.
#[test]
fn many_may_open_a_new_database_at_once() {
    let place = Place::new();
    thread::scope(|scope| {
        for number in 0..6 {
            let place = &place;
            scope.spawn(move || {
                let (store, _) = place.open();
                let stream: StreamName = format!("job/{number}").parse().expect("a name");
                store
                    .append(&stream, &Head::EMPTY, &[b"one".to_vec()])
                    .expect("appends");
            });
        }
    });
    assert_eq!(
        place.count("select count(*) from baytrim_schema"),
        i64::from(SCHEMA_VERSION)
    );
    assert_eq!(
        place.open().0.streams("", None, 99).expect("lists").len(),
        6
    );
}

/// If this fails, what an older version has written can't be read after the tables were brought forward.
#[test]
fn tables_of_every_old_version_are_brought_forward() {
    for version in 1..=SCHEMA_VERSION {
        let place = Place::new();
        place.sql(&fixture(version));
        let (store, report) = place.open();
        assert_eq!(report.schema_before, Some(version));
        let checked = store.verify(&mut |_| ()).expect("looks");
        assert!(checked.is_sound(), "version {version}: {checked:?}");
        assert_eq!(
            (
                checked.record_count,
                checked.blob_count,
                checked.chunk_count
            ),
            (4, 2, 2)
        );
        let stream: StreamName = "job/j-1".parse().expect("a name");
        let head = store.head(&stream).expect("reads");
        assert_eq!(head.next_seq, 3);
        store
            .append(&stream, &head, &[b"after".to_vec()])
            .expect("goes on");
        let spool: StreamName = "live/p-1".parse().expect("a name");
        assert_eq!(store.spool_append(&spool, 2, b"after").expect("goes on"), 3);
    }
}

#[expect(
    clippy::disallowed_methods,
    reason = "whoever makes a new version asks for its fixture"
)]
fn fixture(version: i32) -> String {
    let file = format!("{}/tests/schema/v{version}.sql", env!("CARGO_MANIFEST_DIR"));
    let is_wanted = std::env::var_os("BAYTRIM_BLESS").is_some();
    if is_wanted && version == SCHEMA_VERSION {
        std::fs::write(&file, dump()).expect("writes");
    }
    std::fs::read_to_string(&file).unwrap_or_else(|error| panic!("{file}: {error}"))
}

/// Returns tables as this version makes and fills them; kept for ever once the version was released.
fn dump() -> String {
    let place = Place::new();
    let (store, _) = place.open();
    let name = |text: &str| -> StreamName { text.parse().expect("a name") };
    let bodies = [b"one".to_vec(), Vec::new(), (0..=255).collect()];
    store
        .append(&name("job/j-1"), &Head::EMPTY, &bodies)
        .expect("appends");
    store
        .append(&name("shop"), &Head::EMPTY, &bodies[..1])
        .expect("appends");
    store.put_blob(b"").expect("puts");
    store.put_blob(b"invented log").expect("puts");
    for number in 0..2 {
        store
            .spool_append(&name("live/p-1"), number, b"chunk")
            .expect("appends");
    }
    let dumped = Command::new(Path::new(&told("BAYTRIM_TEST_POSTGRES_BIN")).join("pg_dump"))
        .args(["--inserts", "--no-owner", "--schema", &place.schema, "-d"])
        .arg(told("BAYTRIM_TEST_POSTGRES"))
        .output()
        .expect("dumps");
    let text = String::from_utf8(dumped.stdout).expect("text");
    let is_kept = |line: &&str| {
        let left_out = ["--", "SET ", "SELECT ", "CREATE SCHEMA", "\\"];
        !line.is_empty() && !left_out.iter().any(|start| line.starts_with(start))
    };
    let lines: Vec<&str> = text.lines().filter(is_kept).collect();
    lines.join("\n").replace(&format!("{}.", place.schema), "") + "\n"
}

/// If this fails, a daemon that can't reach its database waits for ever, or says nothing of use.
#[test]
fn a_database_that_is_not_there_is_told_in_time() {
    let options = Options {
        patience: std::time::Duration::from_secs(1),
        ..single()
    };
    // Nobody listens at the port of the discard protocol.
    let refusal = refused("postgres://u@127.0.0.1:9/d", &options);
    let OpenError::Fault(fault) = &refusal else {
        panic!("{refusal}")
    };
    let mut told = fault.to_string();
    let mut source = std::error::Error::source(fault);
    while let Some(error) = source {
        told = format!("{told}: {error}");
        source = error.source();
    }
    assert!(told.to_lowercase().contains("connection refused"), "{told}");
}
