//! What the benchmarks of the daemon share: the program, bays, and how figures are told.
#![allow(dead_code, reason = "each benchmark uses a part of it")]

pub(crate) mod bay;
#[path = "../../tests/bearer/mod.rs"]
pub(crate) mod bearer;
#[path = "../../tests/child/mod.rs"]
pub(crate) mod child;
pub(crate) mod daemon;

/// Prints how busy the machine is: figures of a busy one are worth less.
pub(crate) fn print_load(when: &str) {
    let load = std::fs::read_to_string("/proc/loadavg").unwrap();
    println!("load {when}: {}", load.trim());
}

/// Returns the median, and least and most in brackets.
pub(crate) fn spread(values: impl Iterator<Item = f64>, digits: usize) -> String {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    let (least, most) = (values[0], values[values.len() - 1]);
    let median = values[values.len() / 2];
    format!("{median:.digits$} ({least:.digits$}–{most:.digits$})")
}

/// Returns the value that this share of all stays below.
pub(crate) fn quantile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[((sorted.len() as f64 * share) as usize).min(sorted.len() - 1)]
}
