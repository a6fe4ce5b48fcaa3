//! How commands fail: exit codes, words, and the JSON object on standard error.

use baytrim::Exit;
use tonic::Code;

use crate::shop::Shop;
use crate::terminal::baytrim;

/// A script could not tell a stale proposal from a wrong token.
#[tokio::test]
async fn each_status_has_its_exit_code() {
    let (shop, url) = Shop::open().await;
    for (code, exit, name) in [
        (
            Code::FailedPrecondition,
            Exit::Refused,
            "FAILED_PRECONDITION",
        ),
        (Code::Aborted, Exit::Refused, "ABORTED"),
        (Code::AlreadyExists, Exit::Refused, "ALREADY_EXISTS"),
        (Code::Unauthenticated, Exit::NotPermitted, "UNAUTHENTICATED"),
        (
            Code::PermissionDenied,
            Exit::NotPermitted,
            "PERMISSION_DENIED",
        ),
        (Code::InvalidArgument, Exit::Failed, "INVALID_ARGUMENT"),
        (Code::NotFound, Exit::Failed, "NOT_FOUND"),
        (Code::ResourceExhausted, Exit::Failed, "RESOURCE_EXHAUSTED"),
        (Code::Internal, Exit::Failed, "INTERNAL"),
    ] {
        shop.with(|seen| seen.refusal = Some(code));
        let outcome = baytrim(&url, &["job", "show", "quoll-1", "--json"]).await;
        assert_eq!(outcome.exit, exit, "{name}");
        let error = outcome.error();
        assert_eq!(error["code"], name);
        assert_eq!(error["reason"], "CANNED");
        assert_eq!(error["message"], "the shop says no; come back later");
        assert_eq!(error["metadata"]["revision"], "r2");
        assert_eq!(outcome.out, "");
    }
    shop.with(|seen| assert_eq!(seen.call_count, 9, "only UNAVAILABLE is tried again"));
}

/// The numbers of the exit codes would shift under the scripts that know them.
#[test]
fn exit_codes_keep_their_numbers() {
    let exits = [
        Exit::Done,
        Exit::Failed,
        Exit::Usage,
        Exit::Refused,
        Exit::NotPermitted,
        Exit::Unreachable,
    ];
    assert_eq!(exits.map(Exit::code), [0, 1, 2, 3, 4, 5]);
}

/// A tuner would not learn that the daemon is simply not running.
#[tokio::test]
async fn nobody_there_is_code_five() {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let url = format!("http://{}", listener.local_addr().unwrap());
    drop(listener);
    let outcome = baytrim(&url, &["job", "list"]).await;
    assert_eq!(outcome.exit, Exit::Unreachable);
    let sentence = format!("cannot reach {url}: ");
    assert!(outcome.err.contains(&sentence), "{}", outcome.err);
    assert!(
        outcome.err.to_lowercase().contains("refused"),
        "{}",
        outcome.err
    );
}

/// A server that opens a moment later would be given up at once.
#[tokio::test]
async fn an_opening_server_is_tried_again() {
    let (shop, url) = Shop::open().await;
    shop.with(|seen| seen.failing_calls = 3);
    let outcome = baytrim(&url, &["job", "show", "quoll-1"]).await;
    assert_eq!(outcome.exit, Exit::Done, "{}", outcome.err);
    shop.with(|seen| seen.failing_calls = 4);
    let outcome = baytrim(&url, &["job", "show", "quoll-1"]).await;
    assert_eq!(outcome.exit, Exit::Unreachable, "{}", outcome.err);
    assert!(
        outcome.err.contains("the shop is opening"),
        "{}",
        outcome.err
    );
}

/// A stuck server would hold a script for ever.
#[tokio::test]
async fn a_stuck_server_meets_the_deadline() {
    let (shop, url) = Shop::open().await;
    shop.with(|seen| seen.is_stuck = true);
    let words = ["job", "list", "--deadline", "0.2", "--json"];
    let outcome = baytrim(&url, &words).await;
    assert_eq!(outcome.exit, Exit::Failed);
    assert_eq!(outcome.error()["code"], "DEADLINE_EXCEEDED");
}

/// What was wrong with a job file, and where, would be lost on the way to the tuner.
#[tokio::test]
async fn faults_in_fields_are_named() {
    let (_shop, url) = Shop::open().await;
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("quoll.toml");
    std::fs::write(&file, "[engine]\nstrokes = 3\n").unwrap();
    let path = file.to_str().unwrap();
    let outcome = baytrim(&url, &["job", "open", path]).await;
    assert_eq!(outcome.exit, Exit::Failed);
    let line = "  engine.strokes: 3 is no working cycle; write 2 or 4\n";
    assert!(outcome.err.contains(line), "{}", outcome.err);
    let outcome = baytrim(&url, &["job", "open", path, "--json"]).await;
    assert_eq!(outcome.error()["violations"][0]["field"], "engine.strokes");
    assert_eq!(outcome.error()["reason"], "JOB_FILE");
}

/// After a failure half-way a tuner would submit the first logs twice.
#[tokio::test]
async fn submit_stops_and_says_what_was_recorded() {
    let (shop, url) = Shop::open().await;
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (good, bad, never) = (path("good.csv"), path("bad.csv"), path("never.csv"));
    for path in [&good, &bad, &never] {
        std::fs::write(path, "t\n").unwrap();
    }
    let words = [
        "pull", "submit", "quoll-1", &good, &bad, &never, "--bay", "east", "--json",
    ];
    let outcome = baytrim(&url, &words).await;
    assert_eq!(outcome.exit, Exit::Failed);
    assert_eq!(outcome.json()["pulls"][0]["id"], "quoll-1/p1");
    let message = outcome.error()["message"].as_str().unwrap().to_owned();
    for part in [
        "bad.csv",
        "row 3, column lambda",
        "recorded before it: quoll-1/p1",
    ] {
        assert!(message.contains(part), "{message}");
    }
    shop.with(|seen| assert_eq!(seen.uploads.len(), 2));
}

/// A slip in the arguments would reach the server, or a verdict go without a reason.
#[tokio::test]
async fn wrong_arguments_are_code_two() {
    for words in [
        "",
        "jobs",
        "pull submit quoll-1 a.csv",
        "pull show quoll-1",
        "approve quoll-1/c1",
        "reject quoll-1/c1",
        "approve quoll-1/c1 --reason=",
        "approve quoll-1/c1 --only 3000 --reason x",
        "revert quoll-1 --to base --reason x",
        "table export quoll-1 --format pdf",
        "job list --server nowhere",
        "job list --server ftp://127.0.0.1:1",
        "job list --deadline 0",
        "job list --as Jörg",
    ] {
        let split: Vec<&str> = words.split(' ').filter(|word| !word.is_empty()).collect();
        let outcome = baytrim("http://127.0.0.1:1", &split).await;
        assert_eq!(outcome.exit, Exit::Usage, "{words}: {}", outcome.err);
        assert!(!outcome.err.is_empty() && outcome.out.is_empty(), "{words}");
    }
    let outcome = baytrim("http://127.0.0.1:1", &["approve", "quoll-1/c1", "--json"]).await;
    assert_eq!(outcome.error()["reason"], "USAGE");
}

/// A token would be sent broken, or not at all.
#[tokio::test]
async fn the_token_comes_from_a_file() {
    let (shop, url) = Shop::open().await;
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("token");
    std::fs::write(&file, "abc_123\n").unwrap();
    let path = file.to_str().unwrap();
    let outcome = baytrim(&url, &["job", "list", "--token-file", path]).await;
    assert_eq!(outcome.exit, Exit::Done, "{}", outcome.err);
    shop.with(|seen| assert_eq!(seen.authorizations, ["Bearer abc_123"; 3]));
    std::fs::write(&file, "\n").unwrap();
    let outcome = baytrim(&url, &["job", "list", "--token-file", path]).await;
    assert_eq!(outcome.exit, Exit::Usage);
    let outcome = baytrim(&url, &["job", "list", "--token-file", "/nowhere/token"]).await;
    assert_eq!(outcome.exit, Exit::Failed);
    assert!(outcome.err.contains("/nowhere/token"), "{}", outcome.err);
}

/// A log that cannot be read would be recorded as an empty or shorter one.
#[tokio::test]
async fn an_unreadable_log_is_never_recorded() {
    let (shop, url) = Shop::open().await;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().to_str().unwrap();
    let outcome = baytrim(&url, &["pull", "submit", "quoll-1", path, "--bay", "east"]).await;
    assert_eq!(outcome.exit, Exit::Failed);
    assert!(
        outcome.err.contains("cannot read the log"),
        "{}",
        outcome.err
    );
    shop.with(|seen| assert!(seen.uploads.iter().all(|upload| !upload.is_whole)));
    let outcome = baytrim(
        &url,
        &["pull", "submit", "quoll-1", "none.csv", "--bay", "east"],
    )
    .await;
    assert_eq!(outcome.exit, Exit::Failed);
}

/// A broken ledger would pass a script's check.
#[tokio::test]
async fn a_broken_ledger_is_a_failure_told_as_a_result() {
    let (_shop, url) = Shop::open().await;
    let outcome = baytrim(&url, &["ledger", "verify"]).await;
    assert_eq!(outcome.exit, Exit::Failed);
    assert!(outcome.out.contains("record 3"), "{}", outcome.out);
    let outcome = baytrim(&url, &["ledger", "verify", "--json"]).await;
    assert_eq!(outcome.json()["intact"], false);
}

/// `baytrim table show quoll-1 | head` would end in an error.
#[tokio::test]
async fn a_reader_that_has_seen_enough_is_no_failure() {
    struct Shut;
    impl std::io::Write for Shut {
        fn write(&mut self, _: &[u8]) -> std::io::Result<usize> {
            Err(std::io::ErrorKind::BrokenPipe.into())
        }
        fn flush(&mut self) -> std::io::Result<()> {
            Ok(())
        }
    }
    let mut err = Vec::new();
    let environment = baytrim::Environment::default();
    let exit = baytrim::run(
        ["baytrim", "job", "example"],
        &environment,
        &mut Shut,
        &mut err,
    )
    .await;
    assert_eq!((exit, err.as_slice()), (Exit::Done, [].as_slice()));
}

/// A script that audits a ledger would take a proposal for reproduced that is not.
#[tokio::test]
async fn a_proposal_that_comes_out_otherwise_is_a_failure_told_as_a_result() {
    let (_shop, url) = Shop::open().await;
    let words = ["proposal", "reproduce", "quoll-1/c1", "--json"];
    let outcome = baytrim(&url, &words).await;
    assert_eq!(outcome.exit, Exit::Failed);
    assert_eq!(outcome.json()["identical"], false);
    assert_eq!(outcome.json()["differing_nodes"][0]["after"], 4.0);
}

/// A backup that was cut off would lie about as if it were whole.
#[tokio::test]
async fn half_a_backup_never_takes_the_name_of_a_whole_one() {
    let (_shop, url) = Shop::open().await;
    let directory = tempfile::tempdir().unwrap();
    let file = directory.path().join("shop.tar");
    let words = ["ledger", "backup", "--output", file.to_str().unwrap()];
    let outcome = baytrim(&url, &words).await;
    assert_eq!(outcome.exit, Exit::Failed, "{}", outcome.err);
    assert!(!file.exists());
    std::fs::write(&file, "another").unwrap();
    let outcome = baytrim(&url, &words).await;
    assert_eq!(outcome.exit, Exit::Usage, "{}", outcome.err);
    assert_eq!(std::fs::read(&file).unwrap(), b"another");
}
