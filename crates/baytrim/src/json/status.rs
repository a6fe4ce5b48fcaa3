//! The server itself for scripts.

use baytrim_api::v1::GetStatusResponse;
use serde::Serialize;

/// How the server is.
#[derive(Debug, Serialize)]
pub(crate) struct StatusJson<'a> {
    server: &'a str,
    version: &'a str,
    start_time: Option<String>,
    uptime_s: i64,
    job_count: u64,
    live_pull_count: u64,
    live_pull_count_max: u64,
    compute_running_count: u64,
    compute_running_count_max: u64,
    compute_waiting_count: u64,
    sample_count: u64,
    failed_write_count: u64,
}

impl<'a> StatusJson<'a> {
    /// Returns the status of the server at `url`.
    pub(crate) fn new(url: &'a str, status: &'a GetStatusResponse) -> Self {
        Self {
            server: url,
            version: &status.version,
            start_time: status.start_time.map(|time| time.to_string()),
            uptime_s: status.uptime_duration.map_or(0, |uptime| uptime.seconds),
            job_count: status.job_count,
            live_pull_count: status.live_pull_count,
            live_pull_count_max: status.live_pull_count_max,
            compute_running_count: status.compute_running_count,
            compute_running_count_max: status.compute_running_count_max,
            compute_waiting_count: status.compute_waiting_count,
            sample_count: status.sample_count,
            failed_write_count: status.failed_write_count,
        }
    }
}
