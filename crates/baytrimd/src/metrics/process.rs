//! What the system says of this process, by the names that Prometheus clients use for it.

use prometheus_client::collector::Collector;
use prometheus_client::encoding::{DescriptorEncoder, EncodeMetric as _};
use prometheus_client::metrics::counter::ConstCounter;
use prometheus_client::metrics::gauge::ConstGauge;
use prometheus_client::registry::Unit;

/// Reads `/proc/self` when asked; where there is none, it says nothing.
#[derive(Debug)]
pub(super) struct Process;

impl Collector for Process {
    fn encode(&self, mut encoder: DescriptorEncoder<'_>) -> Result<(), std::fmt::Error> {
        let Some(seen) = see() else {
            return Ok(());
        };
        let memory = ConstGauge::new(seen.resident_bytes);
        memory.encode(encoder.encode_descriptor(
            "process_resident_memory",
            "Resident memory",
            Some(&Unit::Bytes),
            prometheus_client::metrics::MetricType::Gauge,
        )?)?;
        let open = ConstGauge::new(seen.open_files);
        open.encode(encoder.encode_descriptor(
            "process_open_fds",
            "Open file descriptors",
            None,
            prometheus_client::metrics::MetricType::Gauge,
        )?)?;
        let cpu = ConstCounter::new(seen.cpu_s);
        cpu.encode(encoder.encode_descriptor(
            "process_cpu",
            "User and system time",
            Some(&Unit::Seconds),
            prometheus_client::metrics::MetricType::Counter,
        )?)
    }
}

struct Seen {
    resident_bytes: i64,
    open_files: i64,
    cpu_s: f64,
}

/// Linux counts processor time in hundredths of a second, whatever the kernel's own tick is (`man 5 proc`, `USER_HZ`).
const TICKS_PER_S: f64 = 100.0;

/// Bytes of a page of memory, as on x86-64; where pages are larger, resident memory reads too low.
const PAGE_BYTES: i64 = 4096;

fn see() -> Option<Seen> {
    let stat = std::fs::read_to_string("/proc/self/stat").ok()?;
    let (ticks, pages) = read_stat(&stat)?;
    let open = std::fs::read_dir("/proc/self/fd").ok()?.count();
    Some(Seen {
        resident_bytes: pages.saturating_mul(PAGE_BYTES),
        open_files: i64::try_from(open).ok()?,
        cpu_s: ticks / TICKS_PER_S,
    })
}

/// Returns processor time in ticks and resident pages; fields 14, 15 and 24 of `man 5 proc`.
fn read_stat(stat: &str) -> Option<(f64, i64)> {
    // The name in brackets may hold spaces and brackets itself.
    let after_name = &stat[stat.rfind(')')? + 1..];
    let fields: Vec<&str> = after_name.split_ascii_whitespace().collect();
    let number = |field: usize| fields.get(field - 3)?.parse::<f64>().ok();
    let pages = fields.get(24 - 3)?.parse().ok()?;
    Some((number(14)? + number(15)?, pages))
}

#[cfg(test)]
mod tests {
    use super::read_stat;

    /// If this fails, memory and processor time are read from the wrong columns.
    #[test]
    fn fields_are_counted_from_behind_the_name() {
        let stat = "7 (a b) c) S 1 1 1 0 -1 4194304 99 0 0 0 250 50 0 0 20 0 8 0 12345 1000000 512 18446744073709551615 1 1 0";
        assert_eq!(read_stat(stat), Some((300.0, 512)));
        assert_eq!(read_stat("7 (a"), None);
    }
}
