//! The limits of the daemon, each with its reason; `docs/limits.md` lists them with all others.

use std::time::Duration;

/// Largest message that most services take, in bytes: their requests are names and short texts.
pub const MESSAGE_BYTES_MAX: usize = 1 << 20;

/// Largest message of the job service, in bytes: a job file and eight attachments of 1 MiB each, and their names.
pub const JOB_MESSAGE_BYTES_MAX: usize = 10 << 20;

/// Largest message of the pull service, in bytes: a chunk of 1 MiB, or a batch of 10 000 rows.
pub const PULL_MESSAGE_BYTES_MAX: usize = 2 << 20;

/// Largest job file and largest attachment, in bytes: a 64 x 64 table as text has a tenth of it.
pub const JOB_FILE_BYTES_MAX: usize = 1 << 20;

/// Most attachments of a job file: two tables and a channel map for each of six bays.
pub const ATTACHMENTS_MAX: usize = 8;

/// Largest chunk of an upload, in bytes: what a slow network brings in a second.
pub const UPLOAD_CHUNK_BYTES_MAX: usize = 1 << 20;

/// Largest archive of a job that is taken in, in bytes: a hundred long logs.
pub const ARCHIVE_BYTES_MAX: u64 = 16 << 30;

/// Bytes of an archive that go out in one message.
pub const ARCHIVE_CHUNK_BYTES: usize = 256 << 10;

/// Messages of one stream that wait to be written: with 2 MiB each, what one stream may hold in memory.
/// A full queue stops reading, and HTTP/2 flow control stops the sender.
pub const STREAM_QUEUE_MAX: usize = 8;

/// Most rows of one batch: 10 s at 1 kHz, ten times what is sensible.
pub const BATCH_ROWS_MAX: usize = 10_000;

/// Shortest and longest name of a live pull, in bytes: a UUID has 36.
pub const STREAM_ID_BYTES: std::ops::RangeInclusive<usize> = 8..=64;

/// Longest request id, in bytes.
pub const REQUEST_ID_BYTES_MAX: usize = 64;

/// Longest name of a log, in bytes: longer ones are paths.
pub const SOURCE_NAME_BYTES_MAX: usize = 200;

/// Page size where the caller names none.
pub const PAGE_SIZE_USUAL: usize = 50;

/// Largest page.
pub const PAGE_SIZE_MAX: usize = 200;

/// Bytes of record bodies after which a page ends early, so that the answer stays below the 4 MiB
/// that gRPC clients take by default.
pub const PAGE_BODY_BYTES_MAX: usize = 2 << 20;

/// Times that a decision is made anew because another was recorded first.
pub const DECIDE_TRIES_MAX: usize = 32;

/// Jobs, and bays, whose folds are kept in memory; others are folded again when asked for.
pub const FOLDS_CACHED_MAX: usize = 128;

/// Jobs of which what lists tell is made at a time, where it is missing: a tenth of a second's work.
pub const BRIEFS_AT_ONCE: usize = 64;

/// Least time between two of those, so that requests come first.
pub const BRIEFS_REST_MIN: Duration = Duration::from_millis(5);

/// Most jobs that the shop's view looks at: what lists tell of so many is read in a second.
pub const SHOP_VIEW_JOBS_MAX: usize = 20_000;

/// Time between two rounds of removing by rule: days are what the rules count.
pub const RETENTION_EVERY: Duration = Duration::from_secs(6 * 3600);

/// Blobs of a kind that are removed at a time, while nothing can be recorded: a tenth of a second.
pub const REMOVED_AT_ONCE: usize = 64;

/// Bytes of evidence kept in memory.
pub const EVIDENCE_CACHE_BYTES_MAX: usize = 256 << 20;

/// Largest evidence blob that is read, in bytes: ten hours of blocks of a tenth of a second with 16 nodes each
/// come to less than 100 MB.
pub const EVIDENCE_BYTES_MAX: u64 = 256 << 20;

/// Requests that may wait for a fit or for a log to be read; more are turned away at once.
pub const COMPUTE_WAITING_MAX: usize = 32;

/// Those of them that may be of one job: half, so that no job keeps the others from waiting.
pub const COMPUTE_LANE_WAITING_MAX: usize = COMPUTE_WAITING_MAX / 2;

/// Requests that one connection may have open at once.
pub const REQUESTS_PER_CONNECTION_MAX: u32 = 128;

/// Time that a shutdown waits for requests to end before it cuts them off.
pub const SHUTDOWN_PATIENCE: Duration = Duration::from_secs(10);

/// Most field violations of one answer, and most bytes of its message: they travel in HTTP/2 headers,
/// of which clients take 16 KiB.
pub const VIOLATIONS_MAX: usize = 8;

/// Most bytes of an error's message.
pub const ERROR_MESSAGE_BYTES_MAX: usize = 1500;

/// Most bytes of one text within an error's details.
pub const ERROR_TEXT_BYTES_MAX: usize = 300;

/// Rows of pulls kept in memory for charts: a pull of ten hours at 100 Hz, about 90 MB.
pub const JUDGED_ROWS_MAX: usize = 3_600_000;

/// Watches that may be open at once: a terminal, a page and a script for each of twenty people.
pub const WATCHES_MAX: usize = 64;

/// Streams whose news waits for one watch; one that falls further behind reads the ledger again.
pub const NEWS_WAITING_MAX: usize = 256;

/// Time between two words of a watch that nothing has happened: what a broken connection stays unnoticed.
pub const WATCH_BEAT: Duration = Duration::from_secs(15);

/// Time between two looks of a watch at the ledger itself, for what another program recorded.
pub const WATCH_LOOK: Duration = Duration::from_secs(5);

/// Time between two looks at a ledger that other daemons write to: what they record is told this much later here.
pub const FOLLOW_EVERY: Duration = Duration::from_millis(500);

/// Share of a daemon's time that goes into those looks: one in this many, but a look every five seconds all the same.
pub const FOLLOW_REST: u32 = 10;

/// Streams that one look lists at a time.
pub const FOLLOW_STREAMS: usize = 256;

/// Time that a request waits for another daemon that computes the same proposal before it computes it itself.
pub const CLAIM_PATIENCE: Duration = Duration::from_secs(30);

/// Time between two looks whether that other daemon is done.
pub const CLAIM_LOOK: Duration = Duration::from_millis(100);

/// Time that a watch waits for a reader that takes nothing.
pub const WATCH_PATIENCE: Duration = Duration::from_secs(60);

/// Proposals that the caller of a watch may say it knows.
pub const KNOWN_PROPOSALS_MAX: usize = 1000;

/// Heads in one record of a checkpoint: with the longest names two thirds of what a record may hold.
pub const CHECKPOINT_HEADS_PER_RECORD: usize = 12_000;

/// Time between two looks at the clock, which may be set: a token that expires is heeded at its time, and this much later
/// at the most where the clock was moved.
pub const STANDING_LOOK: Duration = Duration::from_secs(5);

/// Time that a handshake may take before its connection is dropped: a slow network's round trips are far below.
pub const HANDSHAKE_PATIENCE: Duration = Duration::from_secs(10);

/// Most jobs that are looked through for those of one kind: the brief of each is read.
pub const LIBRARY_JOBS_MAX: usize = 5000;

/// Most entries of the library that are shown as the nearest.
pub const NEAREST_MAX: usize = 50;
