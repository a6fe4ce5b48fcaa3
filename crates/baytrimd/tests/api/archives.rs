//! Jobs carried elsewhere, and backups of the whole ledger while it goes on.

use std::io::Cursor;
use std::sync::Arc;

use baytrim_api::v1::import_job_request::Message;
use baytrim_api::v1::{
    ArchiveSummary, BackUpLedgerRequest, ExportJobRequest, GetRevisionRequest, ImportJobRequest,
    ImportJobResponse, OpenImport, ReproduceProposalRequest, VerifyLedgerRequest,
    back_up_ledger_response, export_job_response,
};
use baytrim_ledger::{MemoryStore, Store};
use baytrimd::config::ServiceLimits;
use tonic::Status;

use crate::harness::{Daemon, inner, told};

async fn export(daemon: &Daemon, job: &str) -> Result<(Vec<u8>, ArchiveSummary), Status> {
    let name = format!("jobs/{job}");
    let answer = daemon
        .ledger()
        .export_job(ExportJobRequest { name })
        .await?;
    let mut pieces = answer.into_inner();
    let mut file = Vec::new();
    loop {
        match pieces.message().await?.unwrap().message.unwrap() {
            export_job_response::Message::Chunk(chunk) => file.extend(chunk),
            export_job_response::Message::Summary(summary) => return Ok((file, summary)),
        }
    }
}

async fn back_up(daemon: &Daemon) -> (Vec<u8>, ArchiveSummary) {
    let answer = daemon.ledger().back_up_ledger(BackUpLedgerRequest {}).await;
    let mut pieces = answer.unwrap().into_inner();
    let mut file = Vec::new();
    loop {
        match pieces.message().await.unwrap().unwrap().message.unwrap() {
            back_up_ledger_response::Message::Chunk(chunk) => file.extend(chunk),
            back_up_ledger_response::Message::Summary(summary) => return (file, summary),
        }
    }
}

async fn import(
    daemon: &Daemon,
    file: &[u8],
    validate_only: bool,
) -> Result<ImportJobResponse, Status> {
    let mut messages = vec![Message::Open(OpenImport { validate_only })];
    messages.extend(
        file.chunks(100_000)
            .map(|chunk| Message::Chunk(chunk.to_vec())),
    );
    let messages = messages.into_iter().map(|message| ImportJobRequest {
        message: Some(message),
    });
    let messages: Vec<_> = messages.collect();
    let answer = daemon
        .ledger()
        .import_job(tokio_stream::iter(messages))
        .await;
    answer.map(inner)
}

async fn head(daemon: &Daemon) -> String {
    let verified = daemon
        .ledger()
        .verify_ledger(VerifyLedgerRequest::default())
        .await;
    let verified = inner(verified.unwrap());
    assert!(verified.intact, "{}", verified.first_fault);
    verified.ledger_head
}

/// If this fails, a job that moves to another shop arrives changed, in part, or can't be worked on there.
#[tokio::test]
async fn a_job_is_the_same_job_elsewhere() {
    let here = Daemon::with_revision().await;
    let (file, summary) = export(&here, "j").await.unwrap();
    assert_eq!(summary.file_bytes, file.len() as u64);
    assert_eq!((summary.stream_count, summary.record_count), (1, 4));
    assert_eq!(summary.blob_count, 2);
    let there = Daemon::start().await;
    let checked = import(&there, &file, true).await.unwrap();
    assert_eq!(
        (checked.job.as_str(), checked.known_record_count),
        ("jobs/j", 0)
    );
    assert_eq!(there.open_job_count().await, 0);
    let taken = import(&there, &file, false).await.unwrap();
    assert_eq!(taken.summary.unwrap(), summary);
    assert_eq!(head(&there).await, summary.head);
    let again = import(&there, &file, false).await.unwrap();
    assert_eq!(again.known_record_count, 4);
    let name = "jobs/j/proposals/c1".to_owned();
    let again = ReproduceProposalRequest { name };
    let reproduced = there.corrections().reproduce_proposal(again).await;
    assert!(inner(reproduced.unwrap()).identical);
    let name = "jobs/j/revisions/-".to_owned();
    let revision = there
        .tables()
        .get_revision(GetRevisionRequest { name })
        .await;
    let revision = inner(revision.unwrap()).revision.unwrap();
    assert_eq!(revision.name, "jobs/j/revisions/r1");
    there.propose("j").await.unwrap();
    // What was gone on with there is another history than what goes on here.
    here.propose("j").await.unwrap();
    here.propose("j").await.unwrap();
    let (file, _) = export(&here, "j").await.unwrap();
    let refused = import(&there, &file, false).await;
    assert_eq!(told(refused), "FailedPrecondition HISTORY_DIFFERS");
    assert_eq!(told(export(&here, "k").await), "NotFound JOB_UNKNOWN");
    here.stop().await;
    there.stop().await;
}

/// If this fails, a file that is broken, or is more than one job, changes a ledger: by it anybody could bring in their own tokens.
#[tokio::test]
async fn what_is_no_sound_job_is_refused_whole() {
    let here = Daemon::with_revision().await;
    here.open_job("k").await;
    let there = Daemon::start().await;
    let (whole, _) = back_up(&here).await;
    let (job, _) = export(&here, "j").await.unwrap();
    let mut flipped = job.clone();
    let middle = flipped.len() / 2;
    flipped[middle] ^= 1;
    for file in [
        &whole[..],
        &flipped,
        &job[..job.len() - 1],
        b"",
        b"offset_s,rpm\n",
    ] {
        for validate_only in [true, false] {
            let refused = import(&there, file, validate_only).await;
            assert_eq!(told(refused), "InvalidArgument ARCHIVE_INVALID");
        }
    }
    assert_eq!(there.open_job_count().await, 0);
    here.stop().await;
    there.stop().await;
}

/// If this fails, a backup that is taken while the shop works is no state that the ledger ever had.
#[tokio::test]
async fn a_backup_under_running_writes_is_whole() {
    let here = Daemon::with_revision().await;
    let writing = async {
        for index in 0..30 {
            here.open_job(&format!("w{index}")).await;
            here.proposal(&format!("w{index}")).await;
        }
    };
    let backing_up = async {
        let mut files = Vec::new();
        for _ in 0..5 {
            files.push(back_up(&here).await);
        }
        files
    };
    let ((), files) = tokio::join!(writing, backing_up);
    for (file, summary) in files {
        let store = Arc::new(MemoryStore::new());
        baytrim_archive::restore(&mut Cursor::new(&file), &*store).unwrap();
        let there = Daemon::with(store as Arc<dyn Store>, ServiceLimits::default()).await;
        assert_eq!(head(&there).await, summary.head);
        there.stop().await;
    }
    let (_, last) = back_up(&here).await;
    assert_eq!(last.head, head(&here).await);
    here.stop().await;
}

/// If this fails, the documented form is not the form of the files, and nobody else can read them.
#[tokio::test]
async fn a_stranger_reads_archives_by_the_document() {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/second_reader.py");
    let python = |file: &std::path::Path| {
        let mut command = std::process::Command::new("python3");
        command.arg(script).arg(file).output()
    };
    let here = Daemon::with_revision().await;
    here.open_job("k").await;
    let directory = tempfile::tempdir().unwrap();
    for (name, file) in [
        ("job", export(&here, "j").await.unwrap().0),
        ("all", back_up(&here).await.0),
    ] {
        let path = directory.path().join(name);
        std::fs::write(&path, &file).unwrap();
        let Ok(read) = python(&path) else {
            println!("SKIPPED: there is no python3 here");
            return;
        };
        let said = String::from_utf8_lossy(&read.stdout);
        assert!(
            read.status.success(),
            "{}",
            String::from_utf8_lossy(&read.stderr)
        );
        assert!(said.contains("job/j 4 "), "{said}");
        let mut broken = file;
        let middle = broken.len() / 2;
        broken[middle] ^= 1;
        std::fs::write(&path, &broken).unwrap();
        assert!(!python(&path).unwrap().status.success());
    }
    here.stop().await;
}
