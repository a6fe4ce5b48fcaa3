//! What a bad live pull gets: one test per row.

use baytrim_api::v1::{OpenStream, SampleBatch};

use crate::harness::{Daemon, metadata, rows, told};
use crate::pulls::{Line, batch, batches, open_of};

/// Sends a good batch, then `bad` as the second; asserts the refusal, and that the good one is durable
/// and the pull can be finished.
async fn check(bad: SampleBatch, expected: &str) {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let mut line = Line::open(&daemon, open_of("j")).await;
    line.send(batch(1, &rows()[..50]));
    assert_eq!(line.progress().await.durable_sequence_number, 1);
    line.send(bad);
    assert_eq!(told(line.end().await), expected);
    finishes(&daemon).await;
    daemon.stop().await;
}

/// Resumes the pull after batch 1 and finishes it.
async fn finishes(daemon: &Daemon) {
    let mut line = Line::open(daemon, open_of("j")).await;
    assert_eq!(line.durable, 1);
    for batch in batches(&rows()[50..], 2) {
        line.send(batch);
    }
    let pull = line.finish().await;
    assert_eq!(pull.sample_count, rows().len() as u64);
}

macro_rules! rows {
    ($($(#[$doc:meta])* $name:ident: $bad:expr => $expected:expr;)*) => {
        $($(#[$doc])* #[tokio::test] async fn $name() { check($bad, $expected).await; })*
    };
}

fn second() -> SampleBatch {
    batch(2, &rows()[50..100])
}

fn with(change: impl FnOnce(&mut SampleBatch)) -> SampleBatch {
    let mut batch = second();
    change(&mut batch);
    batch
}

rows! {
    /// If this fails, a hole in a pull goes unseen.
    skipped_number: with(|batch| batch.sequence_number = 4) => "OutOfRange SEQUENCE_SKIPPED";
    /// If this fails, a sender that counts from 0 loses its first batch.
    number_zero: with(|batch| batch.sequence_number = 0) => "InvalidArgument BATCH_INVALID sequence_number";
    /// If this fails, samples land at times at which they were not taken.
    clock_backwards: with(|batch| batch.offset_s[3] = 0.5) => "InvalidArgument BATCH_INVALID offset_s[3]";
    /// If this fails, two samples share a time.
    repeated_time: with(|batch| batch.offset_s[0] = 2.45) => "InvalidArgument BATCH_INVALID offset_s[0]";
    /// If this fails, a NaN gets into the clock.
    nan_time: with(|batch| batch.offset_s[1] = f64::NAN) => "InvalidArgument BATCH_INVALID offset_s[1]";
    /// If this fails, columns of unequal length are read across rows.
    short_column: with(|batch| { batch.columns[1].values.pop(); }) => "InvalidArgument BATCH_INVALID columns.plate_angle";
    /// If this fails, a channel vanishes in the middle of a pull.
    channel_gone: with(|batch| { batch.columns.pop(); }) => "InvalidArgument BATCH_INVALID columns";
    /// If this fails, an unknown channel is passed over in silence.
    unknown_channel: with(|batch| batch.columns[0].quantity = "rpms".to_owned()) => "InvalidArgument BATCH_INVALID columns[0].quantity";
    /// If this fails, one of two columns of one channel is passed over in silence.
    channel_twice: with(|batch| batch.columns[0].quantity = "lambda".to_owned()) => "InvalidArgument BATCH_INVALID columns[2].quantity";
    /// If this fails, an air-fuel ratio passes for lambda, or the finished log can't be read.
    wrong_unit: with(|batch| batch.columns[2].values[7] = 147.0) => "InvalidArgument BATCH_INVALID columns.lambda[7]";
    /// If this fails, infinity gets into the numerics.
    infinite: with(|batch| batch.columns[0].values[7] = f32::INFINITY) => "InvalidArgument BATCH_INVALID columns.engine_speed[7]";
    /// If this fails, a batch without rows counts as one.
    no_rows: SampleBatch { sequence_number: 2, ..SampleBatch::default() } => "InvalidArgument BATCH_INVALID offset_s";
}

/// If this fails, the sender of a hole is not told from where to send again.
#[tokio::test]
async fn a_skip_names_the_batch_that_is_next() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let mut line = Line::open(&daemon, open_of("j")).await;
    line.send(batch(3, &rows()[..50]));
    let status = line.end().await.unwrap_err();
    assert_eq!(metadata(&status, "expected"), "1");
    assert_eq!(metadata(&status, "found"), "3");
    daemon.stop().await;
}

/// If this fails, a pull can be carried over to another job, bay, revision or evidence under way.
#[tokio::test]
async fn a_resumed_pull_is_the_same_pull() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    daemon.open_job("other").await;
    let mut line = Line::open(&daemon, open_of("j")).await;
    line.send(batch(1, &rows()[..50]));
    line.progress().await;
    drop(line);
    let lies: [(&str, OpenStream); 5] = [
        ("job", open_of("other")),
        (
            "bay",
            OpenStream {
                bay: "west".to_owned(),
                ..open_of("j")
            },
        ),
        (
            "revision",
            OpenStream {
                revision: "r1".to_owned(),
                ..open_of("j")
            },
        ),
        (
            "evidence",
            OpenStream {
                evidence: 2,
                ..open_of("j")
            },
        ),
        (
            "request_id",
            OpenStream {
                request_id: "PULL-0001".to_owned(),
                ..open_of("j")
            },
        ),
    ];
    for (field, open) in lies {
        let status = Line::try_open(&daemon, open).await.err().unwrap();
        assert_eq!(metadata(&status, "field"), field);
        assert_eq!(
            told(Err::<(), _>(status)),
            "FailedPrecondition STREAM_MISMATCH"
        );
    }
    finishes(&daemon).await;
    daemon.stop().await;
}

/// If this fails, a pull that does not say what it is, is taken on.
#[tokio::test]
async fn what_the_pull_is_must_make_sense() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let rows: [(&str, OpenStream); 6] = [
        ("NotFound JOB_UNKNOWN", open_of("none")),
        (
            "NotFound BAY_UNKNOWN",
            OpenStream {
                bay: "north".to_owned(),
                ..open_of("j")
            },
        ),
        (
            "NotFound REVISION_UNKNOWN",
            OpenStream {
                revision: "r1".to_owned(),
                ..open_of("j")
            },
        ),
        (
            "InvalidArgument FIELD_INVALID open.parent",
            OpenStream {
                parent: "x".to_owned(),
                ..open_of("j")
            },
        ),
        (
            "InvalidArgument FIELD_INVALID open.request_id",
            OpenStream {
                request_id: "short".to_owned(),
                ..open_of("j")
            },
        ),
        (
            "InvalidArgument FIELD_INVALID open.evidence",
            OpenStream {
                evidence: 9,
                ..open_of("j")
            },
        ),
    ];
    for (expected, open) in rows {
        let status = Line::try_open(&daemon, open).await.err().unwrap();
        assert_eq!(told(Err::<(), _>(status)), expected);
    }
    daemon.stop().await;
}

/// If this fails, a pull that misses a needed channel, or has no batch, is recorded.
#[tokio::test]
async fn a_pull_has_samples_with_the_needed_channels() {
    let daemon = Daemon::start().await;
    daemon.open_job("j").await;
    let line = Line::open(&daemon, open_of("j")).await;
    assert_eq!(
        told(line.try_finish().await),
        "InvalidArgument STREAM_EMPTY"
    );
    let mut without = batch(1, &rows()[..50]);
    without.columns.pop();
    let mut line = Line::open(&daemon, open_of("j")).await;
    line.send(without);
    assert_eq!(
        told(line.end().await),
        "InvalidArgument BATCH_INVALID columns"
    );
    let trims = OpenStream {
        evidence: 2,
        request_id: "pull-0002".to_owned(),
        ..open_of("j")
    };
    let mut line = Line::open(&daemon, trims).await;
    line.send(batch(1, &rows()[..50]));
    assert_eq!(
        told(line.end().await),
        "InvalidArgument BATCH_INVALID columns"
    );
    daemon.stop().await;
}
