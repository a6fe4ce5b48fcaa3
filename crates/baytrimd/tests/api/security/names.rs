//! Names that would lead elsewhere, in every text of every method.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use baytrim_api::v1::ListJobsRequest;
use tonic::Code;

use super::wire::{Api, call};
use crate::harness::{Daemon, SOMEBODY, token_of};

/// Names that lead up, into the shop's own stream, out of UTF-8, past the end of a text, or into another language.
fn tricks() -> Vec<String> {
    let mut tricks: Vec<String> = [
        "../../etc/passwd",
        "jobs/../shop",
        "jobs/..",
        "jobs/../../shop",
        "shop",
        "/etc/passwd",
        "jobs//j",
        "jobs/j/../j",
        "jobs/j/revisions/../../../x",
        "jobs/j\0",
        "jobs/\u{ff0e}\u{ff0e}/shop",
        "jobs/%2e%2e/shop",
        "jobs/j\r\nx-header: 1",
        "..\\..\\windows",
        "'; drop table ledger; --",
        "${HOME}",
        "<script>alert(1)</script>",
        "\u{202e}sboj",
        "jobs/j/proposals/c18446744073709551616",
        "jobs/j/pulls/p-1",
    ]
    .map(str::to_owned)
    .into();
    tricks.push("a".repeat(100_000));
    tricks.push("../".repeat(3000));
    tricks
}

/// Returns every file below a directory but what is in the ledger itself.
fn beside(directory: &Path, ledger: &Path) -> BTreeSet<String> {
    let entries = std::fs::read_dir(directory).unwrap();
    let entries = entries.map(|entry| entry.unwrap().path());
    entries
        .filter(|path| path != ledger)
        .map(|path| path.display().to_string())
        .collect()
}

/// If this fails, a name leads out of the shop's own streams or out of the ledger's directory, brings the daemon down,
/// or is answered with a fault of the daemon's own.
#[tokio::test]
async fn no_text_of_any_method_leads_elsewhere() {
    let directory = tempfile::tempdir().unwrap();
    let ledger = directory.path().join("ledger");
    let daemon = Daemon::on(&ledger).await;
    daemon.open_job("j").await;
    let before = beside(directory.path(), &ledger);
    let token = token_of(SOMEBODY);
    let api = Api::read();
    let mut seen = BTreeMap::<String, u32>::new();
    for method in &api.methods {
        for trick in tricks() {
            let message = api.filled(method, &trick);
            let result = call(&daemon.channel, &method.name, Some(token.text()), message).await;
            let code = result.map_or_else(|status| status.code(), |()| Code::Ok);
            let shown: String = trick.chars().take(30).collect();
            let fine = !matches!(
                code,
                Code::Internal | Code::Unknown | Code::DataLoss | Code::Unavailable
            );
            assert!(fine, "{} with {shown:?}: {code:?}", method.name);
            *seen.entry(format!("{code:?}")).or_default() += 1;
        }
    }
    println!(
        "{} methods x {} texts: {seen:?}",
        api.methods.len(),
        tricks().len()
    );
    // Bytes that are no message at all.
    for method in &api.methods {
        let result = call(
            &daemon.channel,
            &method.name,
            Some(token.text()),
            vec![0xff; 64],
        )
        .await;
        let code = result.map_or_else(|status| status.code(), |()| Code::Ok);
        assert!(
            !matches!(code, Code::Unknown | Code::DataLoss | Code::Unavailable),
            "{}: {code:?}",
            method.name
        );
    }
    let jobs = daemon
        .jobs()
        .list_jobs(ListJobsRequest::default())
        .await
        .unwrap();
    let jobs: Vec<String> = jobs
        .into_inner()
        .jobs
        .into_iter()
        .map(|job| job.name)
        .collect();
    assert_eq!(jobs, ["jobs/j"]);
    assert_eq!(
        beside(directory.path(), &ledger),
        before,
        "something was written beside the ledger"
    );
    daemon.stop().await;
}
