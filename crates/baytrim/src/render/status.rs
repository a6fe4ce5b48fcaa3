//! The server itself: what runs, since when, how busy.

use baytrim_api::v1::GetStatusResponse;

use super::style::{Ink, RenderOptions};
use super::text::{counted, minute, plain, wrap};

/// Returns how the server at `url` is.
pub fn render_status(url: &str, status: &GetStatusResponse, options: &RenderOptions) -> String {
    let count = |count: u64| usize::try_from(count).unwrap_or(usize::MAX);
    let head = options.paint(Ink::Strong, &format!("{url} serves."));
    let mut page = format!(
        "{head} baytrimd {}, since {} UTC ({}).\n",
        plain(&status.version),
        minute(status.start_time.map(|time| time.to_string())),
        span(status.uptime_duration.map_or(0, |uptime| uptime.seconds)),
    );
    page += &format!(
        "{} in the ledger. Live pulls: {} of {} at once, {} taken since the start.\n",
        counted(count(status.job_count), "job"),
        status.live_pull_count,
        status.live_pull_count_max,
        counted(count(status.sample_count), "sample"),
    );
    page += &format!(
        "Fits and logs: {} of {} at once being computed, {} waiting.\n",
        status.compute_running_count,
        status.compute_running_count_max,
        status.compute_waiting_count,
    );
    if status.failed_write_count > 0 {
        let fault = format!(
            "{} failed: the disk is full or broken. See the server's log, mend the disk, and start it again.",
            counted(count(status.failed_write_count), "write"),
        );
        page += &options.paint(Ink::Alert, wrap(&fault, options.width, 0).trim_end());
        page.push('\n');
    }
    page
}

/// Returns a span of time in its two largest units.
fn span(seconds: i64) -> String {
    let (days, hours) = (seconds / 86_400, seconds / 3600 % 24);
    let (minutes, rest) = (seconds / 60 % 60, seconds % 60);
    match (days, hours, minutes) {
        (0, 0, 0) => format!("{rest} s"),
        (0, 0, _) => format!("{minutes} min {rest} s"),
        (0, ..) => format!("{hours} h {minutes} min"),
        _ => format!("{days} d {hours} h"),
    }
}

#[cfg(test)]
mod tests {
    use super::span;

    /// If this fails, an uptime is told in wrong or too many units.
    #[test]
    fn spans_have_two_units_at_the_most() {
        let spans = [9, 75, 3600, 90_061].map(span);
        assert_eq!(spans, ["9 s", "1 min 15 s", "1 h 0 min", "1 d 1 h"]);
    }
}
