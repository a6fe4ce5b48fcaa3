//! The reason of a verdict, and the nodes that ask for one most.

use baytrim_model::proposal::{NodeChange, Proposal};

use crate::refusal::Refusal;

/// Longest reason in bytes: a paragraph, not a report.
pub const REASON_BYTES_MAX: usize = 2000;

/// Below this measured fraction an estimate counts as borrowed: its neighbours say more than it does.
pub const BORROWED_BELOW: f64 = 0.5;

/// Most nodes that a refusal names.
const NAMED_MAX: usize = 3;

/// Checks that a reason is one.
///
/// # Errors
/// [`Refusal::Fields`] when it is empty or too long.
pub fn check_reason(reason: &str) -> Result<(), Refusal> {
    check(reason, "")
}

/// Checks the reason of an approval of `nodes`. Every verdict needs one; where it is missing, the refusal names the
/// nodes that ask for it most.
pub(super) fn check_reason_for(
    reason: &str,
    proposal: &Proposal,
    nodes: &[usize],
) -> Result<(), Refusal> {
    let told = nodes.iter().filter_map(|&node| {
        let change = proposal.nodes.get(node)?;
        let why = why_told(change)?;
        Some(format!(
            "{} rpm, {} % {why}",
            change.rpm, change.plate_percent
        ))
    });
    let told: Vec<String> = told.collect();
    let mut words: Vec<String> = told.iter().take(NAMED_MAX).cloned().collect();
    if told.len() > NAMED_MAX {
        words.push(format!(
            "{} more nodes ask for it too",
            told.len() - NAMED_MAX
        ));
    }
    check(reason, &words.join("; "))
}

/// Returns why a change wants a word: it was held back, takes fuel off, or was mostly not measured.
fn why_told(change: &NodeChange) -> Option<&'static str> {
    if !change.limited_by.is_empty() {
        Some("was held back by a limit")
    } else if change.proposed_percent < 0.0 {
        Some("becomes leaner")
    } else if change.visits == 0 || change.measured_fraction < BORROWED_BELOW {
        Some("is borrowed from its neighbours")
    } else {
        None
    }
}

fn check(reason: &str, told: &str) -> Result<(), Refusal> {
    let length = reason.trim().len();
    if (1..=REASON_BYTES_MAX).contains(&length) {
        return Ok(());
    }
    let aside = match told {
        "" => String::new(),
        told => format!(" ({told})"),
    };
    Err(Refusal::field(
        "reason",
        format!("is {length} bytes long{aside}"),
        format!("say why in 1 to {REASON_BYTES_MAX} bytes; the record keeps it"),
    ))
}
