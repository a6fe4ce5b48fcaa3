//! Which proposals the receiver knows to wait, so that a restart does not tell them again.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use baytrim_api::v1::Proposal;
use baytrim_api::v1::proposal::State;

use crate::private;

/// Name of the file, within the ledger's directory.
pub(super) const TOLD_FILE: &str = "webhook.told";

/// Proposals that the receiver knows to wait.
///
/// The file may be lost or behind: then some are told once more, under the same id.
#[derive(Debug)]
pub(super) struct Told {
    file: PathBuf,
    waiting: BTreeSet<String>,
}

impl Told {
    pub(super) fn read(file: &Path) -> Self {
        let text = std::fs::read_to_string(file).unwrap_or_default();
        Self {
            file: file.to_owned(),
            waiting: text.lines().map(str::to_owned).collect(),
        }
    }

    pub(super) fn names(&self) -> Vec<String> {
        self.waiting.iter().cloned().collect()
    }

    /// Forgets all, so that all that wait are told again.
    pub(super) fn forget(&mut self) {
        self.waiting.clear();
    }

    /// Notes what the receiver was told.
    pub(super) fn note(&mut self, proposal: &Proposal) {
        if proposal.state() == State::Open {
            self.waiting.insert(proposal.name.clone());
        } else {
            self.waiting.remove(&proposal.name);
        }
        let lines = self.names().join(
            "
",
        );
        if let Err(error) = private::replace(&self.file, &lines) {
            tracing::warn!(file = %self.file.display(), %error, "what was told can't be noted; after a restart it is told again");
        }
    }
}
