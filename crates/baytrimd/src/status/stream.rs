//! Faults of live pulls: what is durable as metadata, so that the sender knows where to go on.

use tonic::Code;

use super::Told;
use crate::live::StreamFault;

/// Metadata key of the highest batch that is durable.
const DURABLE: &str = "durable_sequence_number";

pub(super) fn tell(fault: &StreamFault) -> Told {
    let told = |code, reason| Told::new(code, reason, fault);
    match fault {
        StreamFault::NotOpened => told(Code::InvalidArgument, "STREAM_NOT_OPENED"),
        StreamFault::OpenedTwice => told(Code::InvalidArgument, "STREAM_OPENED_TWICE"),
        StreamFault::MessageEmpty => told(Code::InvalidArgument, "MESSAGE_EMPTY"),
        StreamFault::Batch {
            sequence_number,
            error,
        } => told(Code::InvalidArgument, "BATCH_INVALID")
            .with("sequence_number", sequence_number)
            .field(error),
        StreamFault::Mismatch {
            field, before, now, ..
        } => told(Code::FailedPrecondition, "STREAM_MISMATCH")
            .with("field", field)
            .with("recorded", before)
            .with("sent", now),
        StreamFault::Skipped { expected, found } => told(Code::OutOfRange, "SEQUENCE_SKIPPED")
            .with("expected", expected)
            .with("found", found),
        StreamFault::NothingSent => told(Code::InvalidArgument, "STREAM_EMPTY"),
        StreamFault::Unfinished { durable } => {
            told(Code::Aborted, "STREAM_UNFINISHED").with(DURABLE, durable)
        }
        StreamFault::Superseded { durable } => {
            told(Code::Aborted, "STREAM_SUPERSEDED").with(DURABLE, durable)
        }
        StreamFault::Idle { durable, .. } => {
            told(Code::DeadlineExceeded, "STREAM_IDLE").with(DURABLE, durable)
        }
        StreamFault::ShutOut {
            fault: shut_out,
            durable,
        } => Told {
            message: fault.to_string(),
            ..super::access::tell(shut_out).with(DURABLE, durable)
        },
        StreamFault::Others { by, .. } => {
            told(Code::PermissionDenied, "PULL_OTHERS").with("member", by)
        }
        StreamFault::Stopping { durable } => told(Code::Unavailable, "SHUTTING_DOWN")
            .with(DURABLE, durable)
            .retry_in_s(2),
    }
}
