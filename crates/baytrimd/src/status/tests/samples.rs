//! One fault of every kind.

mod access;
mod refusals;

use baytrim_archive::RestoreError;
use baytrim_checkpoint::CheckpointError;
use baytrim_intake::IntakeError;
use baytrim_intake::error::{Misreading, NoHeader};
use baytrim_intake::place::CellPlace;
use baytrim_jobs::codec::DecodeError;
use baytrim_ledger::{AppendError, BlobError, Damage, StoreFault};
use baytrim_model::channel::{Quantity, Unit};
use baytrim_model::field::FieldError;
use baytrim_model::ids::{BayName, JobId};

use crate::checkpoints::CheckpointFault;
use crate::fault::{AccessFault, Fault, InternalFault};
use crate::live::StreamFault;

fn job() -> JobId {
    "quoll-1".parse().expect("a good name")
}

fn bay() -> BayName {
    "east".parse().expect("a good name")
}

fn field(name: &str) -> FieldError {
    FieldError::new(
        name,
        "-3 is outside 0.1 to 50 percent",
        "check the number and its unit",
    )
}

fn source_name() -> String {
    "pull.csv".to_owned()
}

fn place() -> CellPlace {
    CellPlace {
        source_name: source_name(),
        row: 14,
        column: "RPM".to_owned(),
    }
}

/// Faults of a log's shape.
fn logs() -> Vec<Fault> {
    let row = 14;
    let errors = [
        IntakeError::Empty {
            source_name: source_name(),
        },
        IntakeError::NotText {
            source_name: source_name(),
            byte: 5,
            value: 0,
        },
        IntakeError::UnsupportedFormat {
            source_name: source_name(),
            kind: "a spreadsheet",
        },
        IntakeError::Truncated {
            source_name: source_name(),
            byte_count: 512,
        },
        IntakeError::Corrupt {
            source_name: source_name(),
            byte_count: 512,
            source: std::io::Error::other("bad block"),
        },
        IntakeError::TooManyBytes {
            source_name: source_name(),
            bytes_max: 1000,
        },
        IntakeError::TooManyRows {
            source_name: source_name(),
            rows_max: 1000,
        },
        IntakeError::TooManyColumns {
            source_name: source_name(),
            row,
            column_count: 3000,
            columns_max: 2000,
        },
        IntakeError::RowTooLong {
            source_name: source_name(),
            row,
            row_bytes_max: 1000,
        },
        IntakeError::HeaderMissing {
            source_name: source_name(),
            row,
            text: "0,1,2".to_owned(),
            finding: NoHeader::Readings,
        },
        IntakeError::RowWidth {
            source_name: source_name(),
            row,
            cell_count: 3,
            column_count: 4,
        },
        IntakeError::NoRows {
            source_name: source_name(),
            row,
        },
    ];
    errors.into_iter().map(Fault::from).collect()
}

/// Faults of columns and cells.
fn cells() -> Vec<Fault> {
    let (row, column) = (14, "RPM".to_owned());
    let misreading = Misreading {
        value: 147.0,
        scale: 1.0,
        offset: 0.0,
        points: None,
        unit: Unit::Lambda,
        quantity: Quantity::Lambda,
        converted: 147.0,
    };
    let errors = [
        IntakeError::ColumnMissing {
            source_name: source_name(),
            row,
            column: column.clone(),
            wanted_for: "engine_speed".to_owned(),
            present: vec!["rpm".to_owned()],
        },
        IntakeError::ColumnTwice {
            source_name: source_name(),
            row,
            column: column.clone(),
            first: 2,
            second: 5,
        },
        IntakeError::NotANumber {
            place: place(),
            text: "fast".to_owned(),
            remedy: "fix the cell",
        },
        IntakeError::NotFinite {
            place: place(),
            text: "NaN".to_owned(),
        },
        IntakeError::OutOfRange {
            place: place(),
            misreading: Box::new(misreading),
            remedy: "check the unit".to_owned(),
        },
        IntakeError::UnitDoubtful {
            source_name: source_name(),
            column: column.clone(),
            unit: Unit::Lambda,
            finding: "the median is 14".to_owned(),
            remedy: "write afr".to_owned(),
        },
        IntakeError::ChannelEmpty {
            source_name: source_name(),
            column,
            quantity: Quantity::Lambda,
            row_count: 100,
        },
        IntakeError::TimeMissing { place: place() },
        IntakeError::ClockBackwards {
            place: place(),
            value: 1.0,
            before: 2.0,
        },
        IntakeError::TimeRepeated {
            place: place(),
            value: 1.0,
        },
        IntakeError::ClockStuck {
            place: place(),
            value: 1.0,
            row_count: 9,
        },
        IntakeError::ClockTooLong {
            place: place(),
            value: 1e9,
            elapsed_s: 1e9,
            duration_s_max: 604_800.0,
            remedy: "check the unit",
        },
        IntakeError::Map {
            source_name: source_name(),
            problems: vec![field("line 3, time")],
        },
    ];
    errors.into_iter().map(Fault::from).collect()
}

fn streams() -> Vec<Fault> {
    let durable = 41;
    let faults = [
        StreamFault::NotOpened,
        StreamFault::OpenedTwice,
        StreamFault::MessageEmpty,
        StreamFault::Batch {
            sequence_number: 42,
            error: field("columns.lambda[7]"),
        },
        StreamFault::Mismatch {
            request_id: "pull-0001".to_owned(),
            field: "job",
            before: "quoll-1".to_owned(),
            now: "quoll-2".to_owned(),
        },
        StreamFault::Skipped {
            expected: 42,
            found: 44,
        },
        StreamFault::NothingSent,
        StreamFault::Unfinished { durable },
        StreamFault::Superseded { durable },
        StreamFault::Idle {
            idle_s: 60,
            durable,
        },
        StreamFault::ShutOut {
            fault: AccessFault::TokenRevoked,
            durable,
        },
        StreamFault::Others {
            request_id: "pull-0001".to_owned(),
            by: "bay-east".to_owned(),
        },
        StreamFault::Stopping { durable },
    ];
    faults.into_iter().map(Fault::from).collect()
}

fn own() -> Vec<Fault> {
    let io = || std::io::Error::other("/var/lib/secret/place");
    let store = |fault: StoreFault| Fault::from(fault);
    vec![
        Fault::LogRemoved {
            job: job(),
            pull: baytrim_model::ids::PullId(3),
            at: baytrim_model::ids::UnixMillis(1_795_737_600_000),
        },
        Fault::Busy {
            what: "uploads",
            max: 8,
        },
        Fault::TooLarge {
            what: "a chunk".to_owned(),
            max: 1000,
            remedy: "send smaller chunks",
        },
        Fault::Contended {
            what: "job",
            name: "quoll-1".to_owned(),
        },
        Fault::Contended {
            what: "bay",
            name: "east".to_owned(),
        },
        AppendError::TooLarge {
            what: "the length of a body in bytes",
            actual: 2000,
            max: 1000,
        }
        .into(),
        RestoreError::Conflict {
            stream: "job/quoll-1".to_owned(),
            seq: 4,
        }
        .into(),
        RestoreError::Refused {
            stream: "shop".to_owned(),
            seq: 0,
            problem: "this is no archive of one job".to_owned(),
        }
        .into(),
        Fault::Cut,
        Fault::Idle { idle_s: 60 },
        Fault::Stopping,
        CheckpointFault::NoKey.into(),
        CheckpointFault::Unknown {
            number: 9,
            count: 2,
        }
        .into(),
        CheckpointFault::WithoutJob {
            job: "quoll-1".to_owned(),
            number: 1,
        }
        .into(),
        CheckpointFault::Invalid(CheckpointError::Signature).into(),
        store(StoreFault::Io {
            what: "writing /var/lib/secret/place".to_owned(),
            source: io(),
        }),
        store(StoreFault::Away {
            what: "reading stream job/quoll-1".to_owned(),
            source: io(),
        }),
        store(StoreFault::Full {
            what: "writing /var/lib/secret/place".to_owned(),
            source: io(),
        }),
        store(StoreFault::Poisoned {
            reason: "/var/lib/secret/place".to_owned(),
        }),
        store(StoreFault::Damaged(Box::new(Damage {
            file: "/var/lib/secret/place".to_owned(),
            ..Damage::default()
        }))),
        store(StoreFault::Closed),
        InternalFault::Record {
            stream: "job/quoll-1".to_owned(),
            seq: 7,
            source: DecodeError::TooNew { found: 2 },
        }
        .into(),
        InternalFault::Ambiguous {
            stream: "job/quoll-1".to_owned(),
            source: StoreFault::Closed,
        }
        .into(),
        Fault::from(IntakeError::Unreadable {
            source_name: "pull.csv".to_owned(),
            source: io(),
        }),
        InternalFault::Impossible("two and two make five").into(),
    ]
}

/// What a database does that a disk does not.
fn away() -> Vec<Fault> {
    let io = || std::io::Error::other("/var/lib/secret/place");
    vec![
        // While a blob was read, and while a log was.
        InternalFault::Blob(BlobError::Fault(StoreFault::Away {
            what: "reading a blob".to_owned(),
            source: io(),
        }))
        .into(),
        Fault::from(IntakeError::Unreadable {
            source_name: "pull.csv".to_owned(),
            source: std::io::Error::other(StoreFault::Away {
                what: "reading a blob".to_owned(),
                source: io(),
            }),
        }),
        Fault::from(StoreFault::Behind {
            stream: "job/quoll-1".parse().expect("a name"),
            seq: 7,
        }),
    ]
}

/// Returns one fault of every kind.
pub(super) fn all() -> Vec<Fault> {
    [
        refusals::refusals(),
        logs(),
        cells(),
        streams(),
        access::access(),
        own(),
        away(),
    ]
    .into_iter()
    .flatten()
    .collect()
}
