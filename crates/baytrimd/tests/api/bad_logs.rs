//! What a bad log gets: one test per row.

use std::sync::Arc;

use baytrim_api::v1::{ListPullsRequest, OpenUpload};
use baytrim_ledger::MemoryStore;
use baytrimd::config::ServiceLimits;

use crate::harness::{Daemon, inner, log, metadata, told, upload_of};

/// Uploads `log`; asserts the refusal and its place, that nothing was recorded, that the same log is
/// refused just so when only checked, and that the daemon takes a good log afterwards.
async fn check(log: &[u8], expected: &str, row: &str, column: &str) {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    for validate_only in [false, true] {
        let open = OpenUpload {
            validate_only,
            ..upload_of("j")
        };
        let status = daemon.upload(open, log).await.unwrap_err();
        let place = ["file", "row", "column"].map(|key| metadata(&status, key));
        assert_eq!(place, ["pull.csv", row, column].map(str::to_owned));
        assert!(
            status.message().starts_with("pull.csv: "),
            "{}",
            status.message()
        );
        assert!(
            status.message().contains("; "),
            "no remedy: {}",
            status.message()
        );
        assert_eq!(told(Err::<(), _>(status)), expected);
    }
    serves_on(daemon).await;
}

/// Asserts that no pull was recorded and that a good log is taken.
async fn serves_on(daemon: Daemon) {
    let request = ListPullsRequest {
        parent: "jobs/j".to_owned(),
        ..ListPullsRequest::default()
    };
    let pulls = inner(daemon.pulls().list_pulls(request).await.unwrap()).pulls;
    assert!(pulls.is_empty(), "a refused log was recorded");
    let pull = daemon
        .upload(upload_of("j"), log().as_bytes())
        .await
        .unwrap();
    assert_eq!(pull.name, "jobs/j/pulls/p1");
    daemon.stop().await;
}

/// Returns the usual log with cell `column` of the line `row` replaced.
fn with_cell(row: usize, column: usize, text: &str) -> Vec<u8> {
    let mut lines: Vec<String> = log().lines().map(str::to_owned).collect();
    let mut cells: Vec<&str> = lines[row - 1].split(',').collect();
    cells[column] = text;
    lines[row - 1] = cells.join(",");
    lines.join("\n").into_bytes()
}

/// Returns `content` as a gzip file that is cut in the middle: one stored block, RFC 1952 and 1951.
fn truncated_gzip(content: &[u8]) -> Vec<u8> {
    let len = u16::try_from(content.len()).unwrap();
    let mut file = vec![0x1f, 0x8b, 8, 0, 0, 0, 0, 0, 0, 255, 1];
    file.extend(len.to_le_bytes());
    file.extend((!len).to_le_bytes());
    file.extend(&content[..content.len() / 2]);
    file
}

macro_rules! rows {
    ($($(#[$doc:meta])* $name:ident: $log:expr => $expected:expr, $row:expr, $column:expr;)*) => {
        $($(#[$doc])* #[tokio::test] async fn $name() { check(&$log, $expected, $row, $column).await; })*
    };
}

rows! {
    /// If this fails, a log without a needed column is guessed at.
    missing_column: log().replace("lambda", "wideband").into_bytes()
        => "InvalidArgument LOG_COLUMN_MISSING column \"lambda\"", "1", "lambda";
    /// If this fails, an air-fuel ratio passes for lambda, and a rich engine for a wildly lean one.
    wrong_unit: log().replace(",0.9", ",13.9").into_bytes()
        => "InvalidArgument LOG_UNIT_DOUBTFUL column \"lambda\"", "", "lambda";
    /// If this fails, text is read as some number.
    text_in_a_number: with_cell(7, 1, "fast")
        => "InvalidArgument LOG_NOT_A_NUMBER row 7, column \"rpm\"", "7", "rpm";
    /// If this fails, a NaN gets into the numerics.
    nan: with_cell(9, 3, "NaN")
        => "InvalidArgument LOG_NOT_FINITE row 9, column \"lambda\"", "9", "lambda";
    /// If this fails, two recordings glued together are read as one pull.
    clock_backwards: with_cell(30, 0, "0.10")
        => "InvalidArgument LOG_CLOCK_BACKWARDS row 30, column \"offset_s\"", "30", "offset_s";
    /// If this fails, rows that share a time are read as if they did not.
    repeated_time: with_cell(30, 0, "1.35")
        => "InvalidArgument LOG_TIME_REPEATED row 30, column \"offset_s\"", "30", "offset_s";
    /// If this fails, a logger that recorded nothing leaves a pull.
    empty_file: Vec::new()
        => "InvalidArgument LOG_EMPTY log", "", "";
    /// If this fails, half a log passes for a whole one.
    truncated_gzip_file: truncated_gzip(log().as_bytes())
        => "InvalidArgument LOG_TRUNCATED log", "", "";
}

/// If this fails, a log as large as the disk is taken, or the refusal comes only once all of it is in.
#[tokio::test]
async fn too_large() {
    let limits = ServiceLimits {
        upload_bytes_max: 100_000,
        ..ServiceLimits::default()
    };
    let store = Arc::new(MemoryStore::new());
    let daemon = Daemon::with(Arc::clone(&store) as _, limits).await;
    daemon.open_job("j").await;
    let huge = vec![b'1'; 1_000_000];
    assert_eq!(
        told(daemon.upload(upload_of("j"), &huge).await),
        "InvalidArgument TOO_LARGE"
    );
    let blobs = baytrim_ledger::Store::blobs(&*store, None, 9).unwrap();
    assert!(blobs.is_empty(), "a log that was cut off left a blob");
    serves_on(daemon).await;
}

/// If this fails, a wrong bay, revision, job or channel map is found only after the whole log is in.
#[tokio::test]
async fn what_the_log_is_must_make_sense() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let rows: [(&str, OpenUpload); 6] = [
        ("NotFound JOB_UNKNOWN", upload_of("other")),
        (
            "InvalidArgument FIELD_INVALID open.parent",
            OpenUpload {
                parent: "j".to_owned(),
                ..upload_of("j")
            },
        ),
        (
            "NotFound BAY_UNKNOWN",
            OpenUpload {
                bay: "north".to_owned(),
                ..upload_of("j")
            },
        ),
        (
            "NotFound REVISION_UNKNOWN",
            OpenUpload {
                revision: "r7".to_owned(),
                ..upload_of("j")
            },
        ),
        (
            "InvalidArgument FIELD_INVALID open.channel_map, line 1, timing",
            OpenUpload {
                channel_map: "timing = 1".to_owned(),
                ..upload_of("j")
            },
        ),
        (
            "InvalidArgument FIELD_INVALID request_id",
            OpenUpload {
                request_id: "with space".to_owned(),
                ..upload_of("j")
            },
        ),
    ];
    for (expected, open) in rows {
        assert_eq!(told(daemon.upload(open, b"").await), expected);
    }
    serves_on(daemon).await;
}
