//! What a bad job file gets: one test per row.

use baytrim_api::v1::{Attachment, CreateJobRequest, GetJobRequest, ListJobsRequest};

use crate::harness::{Daemon, inner, job_file, told};

/// Sends the usual job file with `old` replaced by `new`; asserts the refusal, that nothing was
/// recorded, and that the daemon serves on.
async fn check(old: &str, new: &str, expected: &str) {
    assert!(job_file().contains(old), "the job file has no {old:?}");
    let request = CreateJobRequest {
        job_file: job_file().replace(old, new),
        ..CreateJobRequest::default()
    };
    refused(request, expected).await;
}

async fn refused(request: CreateJobRequest, expected: &str) {
    let daemon = Daemon::start().await;
    assert_eq!(told(daemon.jobs().create_job(request).await), expected);
    let list = daemon
        .jobs()
        .list_jobs(ListJobsRequest::default())
        .await
        .unwrap();
    assert!(inner(list).jobs.is_empty(), "a refused job was recorded");
    daemon.open_job("good").await;
    daemon.stop().await;
}

macro_rules! rows {
    ($($(#[$doc:meta])* $name:ident: $old:expr, $new:expr => $expected:expr;)*) => {
        $($(#[$doc])* #[tokio::test] async fn $name() { check($old, $new, $expected).await; })*
    };
}

rows! {
    /// If this fails, a table with jumbled axes is taken on, and every correction lands on a wrong node.
    unsorted_axes: "[2000, 4000,", "[4000, 2000,"
        => "InvalidArgument FIELD_INVALID axes.rpm[1]";
    /// If this fails, a table of another shape than its axes is taken on.
    wrong_table_shape: "[[0, 0, 0, 0], [0, 0, 0, 0], [0, 0, 0, 0]]", "[[0, 0, 0, 0], [0, 0, 0, 0]]"
        => "InvalidArgument FIELD_INVALID table.values";
    /// If this fails, a table that asks for negative fuel is taken on.
    negative_fuel: "[[0, 0, 0, 0],", "[[0, -101, 0, 0],"
        => "InvalidArgument FIELD_INVALID table.values at 4000 rpm, 10 %";
    /// If this fails, an engine is steered to a mixture that does not burn.
    target_too_lean: "lambda = 0.95", "lambda = 2.5"
        => "InvalidArgument FIELD_INVALID target.lambda[0]";
    /// If this fails, an engine is steered to a mixture that does not burn.
    target_too_rich: "lambda = 0.95", "lambda = 0.4"
        => "InvalidArgument FIELD_INVALID target.lambda[0]";
    /// If this fails, a mistyped key is passed over, and a limit that was meant is not in force.
    unknown_key: "[engine]", "[engine]\ncylinder = 2"
        => "InvalidArgument FIELD_INVALID line 4";
    /// If this fails, a file that is no TOML gets an answer that does not name the line.
    no_toml: "[engine]", "[engine"
        => "InvalidArgument FIELD_INVALID line 3";
}

/// If this fails, names that can't name a stream get further than the door.
#[tokio::test]
async fn bad_name() {
    let request = CreateJobRequest {
        job_id: "../x".to_owned(),
        job_file: job_file(),
        ..CreateJobRequest::default()
    };
    refused(request, "InvalidArgument FIELD_INVALID job_id").await;
}

/// If this fails, the daemon holds files of any size for whoever sends them.
#[tokio::test]
async fn file_too_large() {
    let request = CreateJobRequest {
        job_file: "#".repeat((1 << 20) + 1),
        ..CreateJobRequest::default()
    };
    refused(request, "InvalidArgument TOO_LARGE").await;
}

/// If this fails, one of two files of one name is passed over in silence.
#[tokio::test]
async fn attachment_twice() {
    let file = Attachment {
        file_name: "t.csv".to_owned(),
        content: Vec::new(),
    };
    let request = CreateJobRequest {
        job_file: job_file(),
        attachments: vec![file.clone(), file],
        ..CreateJobRequest::default()
    };
    refused(
        request,
        "InvalidArgument FIELD_INVALID attachments[1].file_name",
    )
    .await;
}

/// If this fails, a job with hundreds of mistakes gets an answer that no client can receive.
#[tokio::test]
async fn many_mistakes_fit_into_one_answer() {
    let daemon = Daemon::start().await;
    let bad = ["-500"; 4].join(", ");
    let request = CreateJobRequest {
        job_file: job_file().replace("0, 0, 0, 0", &bad),
        ..CreateJobRequest::default()
    };
    let status = daemon.jobs().create_job(request).await.unwrap_err();
    assert_eq!(crate::harness::metadata(&status, "field_count"), "12");
    let long = format!("jobs/{}", "x".repeat(20_000));
    let get = daemon.jobs().get_job(GetJobRequest { name: long }).await;
    assert_eq!(told(get), "InvalidArgument FIELD_INVALID name");
    daemon.stop().await;
}

/// If this fails, the same name opens two jobs, or a repeated request is told off instead of answered.
#[tokio::test]
async fn a_job_opens_once() {
    let daemon = Daemon::start().await;
    let request = CreateJobRequest {
        job_file: job_file(),
        request_id: "r-1".to_owned(),
        ..CreateJobRequest::default()
    };
    let only_checked = CreateJobRequest {
        validate_only: true,
        ..request.clone()
    };
    let checked = inner(
        daemon
            .jobs()
            .create_job(only_checked.clone())
            .await
            .unwrap(),
    );
    assert_eq!(checked.job.unwrap().etag, "", "a checked job has no record");
    let first = inner(daemon.jobs().create_job(request.clone()).await.unwrap());
    let again = inner(daemon.jobs().create_job(request.clone()).await.unwrap());
    assert_eq!(first, again);
    let other = CreateJobRequest {
        request_id: "r-2".to_owned(),
        ..request
    };
    for request in [other, only_checked] {
        assert_eq!(
            told(daemon.jobs().create_job(request).await),
            "AlreadyExists JOB_EXISTS"
        );
    }
    daemon.stop().await;
}
