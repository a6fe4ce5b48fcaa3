//! When each token was last used: coarse, beside the ledger, no proof of anything.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use baytrim_model::ids::UnixMillis;
use baytrim_model::shop::TokenId;

/// Time within which further uses are not noted, in milliseconds: a bay asks several times a second.
const COARSE_MS: i64 = 10 * 60 * 1000;

/// Name of the file within the ledger's directory.
const FILE: &str = "last-use.json";

/// When each token was last used.
#[derive(Debug)]
pub(crate) struct LastUse {
    seen: Mutex<BTreeMap<TokenId, i64>>,
    file: Option<PathBuf>,
}

impl LastUse {
    /// Reads what is kept in `directory`; a file that can't be read counts as none.
    pub(crate) fn open(directory: Option<&Path>) -> Self {
        let file = directory.map(|directory| directory.join(FILE));
        let text = file.as_ref().and_then(|file| std::fs::read(file).ok());
        let seen = text.and_then(|text| serde_json::from_slice(&text).ok());
        Self {
            seen: Mutex::new(seen.unwrap_or_default()),
            file,
        }
    }

    /// Returns when a token was last used, to ten minutes.
    pub(crate) fn of(&self, id: &TokenId) -> Option<UnixMillis> {
        let seen = self.seen.lock().unwrap_or_else(PoisonError::into_inner);
        seen.get(id).copied().map(UnixMillis)
    }

    /// Notes a use; returns whether it is worth writing down.
    pub(crate) fn note(&self, id: &TokenId, at: UnixMillis) -> bool {
        let mut seen = self.seen.lock().unwrap_or_else(PoisonError::into_inner);
        let is_news = seen.get(id).is_none_or(|last| at.0 - last >= COARSE_MS);
        if is_news {
            seen.insert(id.clone(), at.0);
        }
        is_news && self.file.is_some()
    }

    /// Writes down what was noted. It is no record: a lost write is logged, and no reason to fail.
    pub(crate) fn write(&self) {
        let Some(file) = &self.file else { return };
        // Held while writing, so that a later state is not overwritten by an earlier one.
        let seen = self.seen.lock().unwrap_or_else(PoisonError::into_inner);
        let part = file.with_extension("part");
        let written = serde_json::to_vec(&*seen)
            .map_err(std::io::Error::from)
            .and_then(|text| std::fs::write(&part, text))
            .and_then(|()| std::fs::rename(&part, file));
        if let Err(error) = written {
            tracing::warn!(file = %file.display(), %error, "when tokens were last used can't be written down");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// If this fails, every request writes a file, or what was noted is gone after a restart.
    #[test]
    fn uses_are_noted_coarsely_and_kept() {
        let directory = tempfile::tempdir().expect("a directory");
        let id: TokenId = "abcdefgh".parse().expect("a name");
        let noted = LastUse::open(Some(directory.path()));
        assert_eq!(noted.of(&id), None);
        assert!(noted.note(&id, UnixMillis(1000)));
        assert!(!noted.note(&id, UnixMillis(999 + COARSE_MS)));
        assert!(noted.note(&id, UnixMillis(1000 + COARSE_MS)));
        noted.write();
        let again = LastUse::open(Some(directory.path()));
        assert_eq!(again.of(&id), Some(UnixMillis(1000 + COARSE_MS)));
    }
}
