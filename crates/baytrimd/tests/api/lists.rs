//! Lists, page by page, and the ledger as clients read it.

use std::fmt::Write as _;

use baytrim_api::v1::{
    ExportTableRequest, ListJobsRequest, ListPullsRequest, ListRecordsRequest,
    ListRevisionsRequest, OpenUpload, VerifyLedgerRequest,
};

use crate::harness::{Daemon, inner, log, rows, told, upload_of};

/// If this fails, a log sent twice looks like twice the proof, or can't be read another way.
#[tokio::test]
async fn a_log_counts_once() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let log = log();
    daemon.upload(upload_of("j"), log.as_bytes()).await.unwrap();
    let again = daemon.upload(upload_of("j"), log.as_bytes()).await;
    assert_eq!(told(again), "AlreadyExists LOG_KNOWN");
    let mut otherwise = upload_of("j");
    otherwise.channel_map = "[time]\ncolumn = \"offset_s\"\n\
        [channels.engine_speed]\ncolumn = \"rpm\"\nunit = \"rpm\"\n\
        [channels.plate_angle]\ncolumn = \"plate_percent\"\nunit = \"percent\"\n\
        [channels.lambda]\ncolumn = \"lambda\"\nunit = \"lambda\"\nscale = 1.01\n"
        .to_owned();
    let pull = daemon.upload(otherwise, log.as_bytes()).await.unwrap();
    assert_eq!(pull.warnings[0].code, "same_log");
    daemon.stop().await;
}

/// If this fails, one recording in two files looks like twice the proof and nobody is told.
#[tokio::test]
async fn a_recording_in_another_file_is_recognised() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    daemon
        .upload(upload_of("j"), log().as_bytes())
        .await
        .unwrap();
    let mut other = String::from("offset_s;rpm;plate_percent;lambda;gear\n");
    for [offset_s, rpm, plate_percent, lambda] in rows() {
        let offset_s = offset_s + 12.5;
        writeln!(other, "{offset_s};{rpm};{plate_percent};{lambda};3").unwrap();
    }
    for validate_only in [true, false] {
        let open = OpenUpload {
            validate_only,
            ..upload_of("j")
        };
        let pull = daemon.upload(open, other.as_bytes()).await.unwrap();
        let warning = &pull.warnings[0];
        assert_eq!(warning.code, "same_log");
        assert!(
            warning
                .message
                .starts_with("the same recording is in as p1"),
            "{}",
            warning.message
        );
    }
    let changed = other.replace(";3\n", ";4\n").replacen("2000", "2010", 1);
    let pull = daemon.upload(upload_of("j"), changed.as_bytes()).await;
    assert!(pull.unwrap().warnings.is_empty());
    daemon.stop().await;
}

/// If this fails, a list of jobs read page by page loses or repeats jobs.
#[tokio::test]
async fn jobs_come_by_name_page_by_page() {
    let daemon = Daemon::start().await;
    for id in ["d", "b", "e", "a", "c"] {
        daemon.open_job(id).await;
    }
    let mut pages = Vec::new();
    let mut request = ListJobsRequest {
        page_size: 2,
        ..ListJobsRequest::default()
    };
    loop {
        let answer = inner(daemon.jobs().list_jobs(request.clone()).await.unwrap());
        let names = answer
            .jobs
            .iter()
            .map(|job| job.name.trim_start_matches("jobs/").to_owned());
        pages.push(names.collect::<Vec<_>>().join(","));
        if answer.next_page_token.is_empty() {
            break;
        }
        request.page_token = answer.next_page_token;
    }
    assert_eq!(pages, ["a,b", "c,d", "e"]);
    let rows = [(-1, "", "page_size"), (0, "zz", "page_token")];
    for (page_size, page_token, field) in rows {
        let request = ListJobsRequest {
            page_size,
            page_token: page_token.to_owned(),
        };
        let expected = format!("InvalidArgument FIELD_INVALID {field}");
        assert_eq!(told(daemon.jobs().list_jobs(request).await), expected);
    }
    daemon.stop().await;
}

/// If this fails, pulls or revisions come in another order than promised, or a token of one list opens another.
#[tokio::test]
async fn pulls_come_oldest_first_and_tokens_fit_one_list() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    daemon.open_job("k").await;
    for number in [1, 2, 3] {
        let log = format!("# pull {number}\n{}", log());
        daemon.upload(upload_of("j"), log.as_bytes()).await.unwrap();
    }
    let request = ListPullsRequest {
        parent: "jobs/j".to_owned(),
        page_size: 2,
        ..ListPullsRequest::default()
    };
    let first = inner(daemon.pulls().list_pulls(request.clone()).await.unwrap());
    let names: Vec<_> = first.pulls.iter().map(|pull| pull.name.as_str()).collect();
    assert_eq!(names, ["jobs/j/pulls/p1", "jobs/j/pulls/p2"]);
    assert!(first.pulls[0].coverage.is_empty() && first.pulls[0].warnings.is_empty());
    let foreign = ListPullsRequest {
        parent: "jobs/k".to_owned(),
        page_token: first.next_page_token.clone(),
        ..ListPullsRequest::default()
    };
    let refused = daemon.pulls().list_pulls(foreign).await;
    assert_eq!(told(refused), "InvalidArgument FIELD_INVALID page_token");
    let next = ListPullsRequest {
        page_token: first.next_page_token,
        ..request
    };
    let next = inner(daemon.pulls().list_pulls(next).await.unwrap());
    assert_eq!((next.pulls.len(), next.next_page_token.as_str()), (1, ""));
    let revisions = ListRevisionsRequest {
        parent: "jobs/j".to_owned(),
        ..ListRevisionsRequest::default()
    };
    let revisions = inner(daemon.tables().list_revisions(revisions).await.unwrap()).revisions;
    assert_eq!(
        (revisions[0].origin.as_str(), revisions[0].in_force),
        ("base", true)
    );
    daemon.stop().await;
}

/// If this fails, the ledger that clients read is not chained, does not say what happened, or its proof
/// is of something else.
#[tokio::test]
async fn records_are_chained_and_told() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    daemon.proposal("j").await;
    let export = ExportTableRequest {
        name: "jobs/j/revisions/r0".to_owned(),
        ..ExportTableRequest::default()
    };
    daemon.tables().export_table(export).await.unwrap();
    let request = ListRecordsRequest {
        parent: "jobs/j".to_owned(),
        page_size: 3,
        with_bodies: true,
        ..ListRecordsRequest::default()
    };
    let first = inner(daemon.ledger().list_records(request.clone()).await.unwrap());
    let next = ListRecordsRequest {
        page_token: first.next_page_token.clone(),
        ..request
    };
    let next = inner(daemon.ledger().list_records(next).await.unwrap());
    assert_eq!(
        (
            first.records.len(),
            next.records.len(),
            next.next_page_token.as_str()
        ),
        (3, 1, "")
    );
    let records = [first.records, next.records].concat();
    let kinds: Vec<_> = records.iter().map(|record| record.kind.as_str()).collect();
    assert_eq!(
        kinds,
        [
            "job_opened",
            "pull_finished",
            "proposal_made",
            "table_exported"
        ]
    );
    for pair in records.windows(2) {
        assert_eq!(pair[1].previous_hash, pair[0].hash);
    }
    for record in &records {
        // The body says the same kind itself.
        assert!(
            record
                .body
                .contains(&format!("\"kind\":\"{}\"", record.kind)),
            "{}",
            record.body
        );
        assert!(!record.summary.is_empty());
    }
    let verified = inner(
        daemon
            .ledger()
            .verify_ledger(VerifyLedgerRequest::default())
            .await
            .unwrap(),
    );
    assert!(verified.intact, "{}", verified.first_fault);
    assert_eq!(
        (
            verified.stream_count,
            verified.record_count,
            verified.blob_count
        ),
        (1, 4, 2)
    );
    let unknown = ListRecordsRequest {
        parent: "jobs/none".to_owned(),
        ..ListRecordsRequest::default()
    };
    assert_eq!(
        told(daemon.ledger().list_records(unknown).await),
        "NotFound JOB_UNKNOWN"
    );
    daemon.stop().await;
}
