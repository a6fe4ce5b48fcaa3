//! The daemon itself and its records, as it would tell of them.

use baytrim_api::v1::{GetStatusResponse, Record};
use prost_types::Duration;

use super::MOMENT;

/// A server that has been up for two days and lost a write.
pub(crate) fn status() -> GetStatusResponse {
    GetStatusResponse {
        version: "0.1.0".to_owned(),
        start_time: Some(MOMENT),
        uptime_duration: Some(Duration {
            seconds: 183_600,
            nanos: 0,
        }),
        job_count: 41,
        live_pull_count: 3,
        live_pull_count_max: 32,
        compute_running_count: 1,
        compute_running_count_max: 2,
        compute_waiting_count: 0,
        sample_count: 1_204_300,
        failed_write_count: 1,
    }
}

pub(crate) fn record(sequence_number: u64) -> Record {
    Record {
        sequence_number,
        hash: format!("{sequence_number:064x}"),
        previous_hash: "0".repeat(64),
        create_time: Some(MOMENT),
        actor: "kim".to_owned(),
        kind: "pull_finished".to_owned(),
        summary: format!("pull p{sequence_number} from bay east was finished"),
        body: String::new(),
    }
}
