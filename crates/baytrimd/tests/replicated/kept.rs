//! Beginning on a database: what is refused, and who is the first member.

use crate::daemons::{Daemon, Ledger, run, words};

/// If this fails, a daemon begins on a database that may lose records, or without anybody who could use it.
#[test]
fn a_daemon_says_why_it_does_not_begin() {
    let ledger = Ledger::empty();
    let rows: [(&[&str], &str); 4] = [
        (
            &["--store", &ledger.url],
            "only one machine has each record",
        ),
        (
            &["--store", &ledger.url, "--single-copy"],
            "the shop has no owner yet",
        ),
        (
            &["--store", "postgres://u:p@localhost/d"],
            "file of its own",
        ),
        (&["--store", "localhost"], "write postgres://"),
    ];
    for (arguments, expected) in rows {
        let refused = run(&[&["serve"], arguments].concat());
        assert_eq!(refused.status.code(), Some(2), "{}", words(&refused));
        assert!(words(&refused).contains(expected), "{}", words(&refused));
    }
}

/// If this fails, two daemons that begin at once on a new ledger make two owners, or an owner whose token nobody has.
#[tokio::test]
async fn the_first_of_two_daemons_makes_the_owner() {
    let ledger = Ledger::empty();
    let place = |name: &str| ledger.home.path().join(name).to_str().unwrap().to_owned();
    let (a, b) = (place("a"), place("b"));
    let start = |data: &str| {
        let arguments: Vec<String> = ["--store", &ledger.url, "--single-copy", "--data", data]
            .map(str::to_owned)
            .to_vec();
        tokio::spawn(async move {
            let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
            Daemon::start(&arguments, "none").await
        })
    };
    let (first, second) = (start(&a), start(&b));
    let (_first, _second) = (first.await.unwrap(), second.await.unwrap());
    let files = [&a, &b].map(|data| std::path::Path::new(data).join("owner.token").is_file());
    assert_eq!(files.iter().filter(|is_there| **is_there).count(), 1);
    assert_eq!(
        ledger.ask("select count(*) from baytrim_record where stream = 'shop'"),
        "2"
    );
    let again = run(&[
        "owner",
        "first",
        "--store",
        &ledger.url,
        "--single-copy",
        "--token-file",
        &place("other.token"),
    ]);
    assert_eq!(again.status.code(), Some(1));
    assert!(
        words(&again).contains("members already"),
        "{}",
        words(&again)
    );
}
