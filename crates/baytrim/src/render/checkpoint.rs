//! Checkpoints.

use baytrim_api::v1::{Checkpoint, GetCheckpointProofResponse};

use super::style::{Ink, RenderOptions};
use super::text::{counted, plain, wrap};
use crate::command::checkpoint::Checked;

fn number(count: u64, noun: &str) -> String {
    counted(usize::try_from(count).unwrap_or(usize::MAX), noun)
}

/// Returns what was signed, and what to do with it.
pub(crate) fn render_checkpoint(
    checkpoint: &Checkpoint,
    created: bool,
    file: &str,
    options: &RenderOptions,
) -> String {
    let what = if created {
        "was signed now"
    } else {
        "is still the last: nothing was recorded since"
    };
    let head = format!("Checkpoint {} {what}.", checkpoint.number);
    let said = format!(
        "As of {}: {} in {}. It went to {file}.",
        plain(&checkpoint.time),
        number(checkpoint.record_count, "record"),
        number(checkpoint.stream_count, "stream"),
    );
    let advice = "Keep the file and the key where nobody who can write to the ledger can write too: together they show later whether history was changed.";
    format!(
        "{}\n{}Key {}\n{}",
        options.paint(Ink::Strong, &head),
        wrap(&said, options.width, 0),
        plain(&checkpoint.key),
        wrap(advice, options.width, 0)
    )
}

/// Returns what a proof shows, and what to do with it.
pub(crate) fn render_proof(
    job: &str,
    proof: &GetCheckpointProofResponse,
    file: &str,
    options: &RenderOptions,
) -> String {
    let said = format!(
        "Shows that {} of {job} were signed. It went to {file}; check it with `baytrim ledger verify-checkpoint {file} --key KEY`.",
        number(proof.record_count, "record")
    );
    wrap(&said, options.width, 0) + &format!("Head {}\n", plain(&proof.head))
}

/// Returns whether a file proves what it says.
pub(crate) fn render_checked(key: &str, checked: &Checked, options: &RenderOptions) -> String {
    let (checkpoint, proof) = match checked {
        Ok(good) => good,
        Err(problem) => {
            let head = options.paint(Ink::Alert, "It does NOT hold.");
            return format!("{head}\n{}", wrap(&problem.to_string(), options.width, 0));
        }
    };
    let head = options.paint(Ink::Strong, "It holds.");
    let said = format!(
        "Checkpoint {} of {}, signed by {}: {} in {}.",
        checkpoint.number,
        plain(&checkpoint.time),
        plain(key),
        number(checkpoint.record_count, "record"),
        number(checkpoint.stream_count, "stream"),
    );
    let mut page = format!("{head}\n{}", wrap(&said, options.width, 0));
    if let Some(proof) = proof {
        let head = proof.leaf.head.iter();
        let head = head.fold(String::new(), |text, byte| text + &format!("{byte:02x}"));
        let said = format!(
            "In it: {} with {}.",
            plain(&proof.leaf.stream),
            number(proof.leaf.count, "record")
        );
        page += &wrap(&said, options.width, 0);
        page += &format!("Head {head}\n");
    }
    page
}
