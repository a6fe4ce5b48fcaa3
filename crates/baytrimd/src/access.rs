//! Who may call, and who they say they are.
//!
//! One token for all, for now. What services see is an [`Actor`] only, so that a fuller identity can
//! take this file's place.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use baytrim_jobs::Refusal;
use baytrim_model::ids::Actor;
use sha2::{Digest as _, Sha256};
use tonic::metadata::MetadataMap;

use crate::fault::{AccessFault, Fault};
use crate::status;

/// Metadata key under which a caller says who they are.
pub const ACTOR_KEY: &str = "baytrim-actor";

/// Who a caller is that does not say.
pub const ACTOR_UNKNOWN: &str = "unknown";

/// Longest name of a caller, in bytes.
pub const ACTOR_BYTES_MAX: usize = 80;

/// Shortest token, in bytes: 16 random letters can't be guessed over a network.
pub const TOKEN_BYTES_MIN: usize = 16;

/// Checks callers.
#[derive(Debug, Clone, Default)]
pub struct Access {
    /// SHA-256 of the token; none lets everybody in.
    token: Option<Arc<[u8; 32]>>,
}

/// Why a token file can't be used.
#[derive(Debug, thiserror::Error)]
pub enum TokenFileError {
    /// It can't be read.
    #[error("{}: can't be read; check the path and who may read it", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// Others may read it.
    #[error("{}: others than its owner may read it (mode {mode:03o}); run `chmod 600` on it", path.display())]
    TooOpen {
        /// The file.
        path: PathBuf,
        /// Its permission bits.
        mode: u32,
    },
    /// Its content is no token.
    #[error("{}: holds no token; write one line of {TOKEN_BYTES_MIN} or more printable characters without spaces into it", path.display())]
    NoToken {
        /// The file.
        path: PathBuf,
    },
}

impl Access {
    /// Returns checks that let everybody in.
    pub fn open() -> Self {
        Self::default()
    }

    /// Returns checks that ask for the token that `path` holds.
    ///
    /// # Errors
    /// When the file can't be read, others may read it, or it holds no token.
    pub fn from_file(path: &Path) -> Result<Self, TokenFileError> {
        let unreadable = |source| TokenFileError::Unreadable {
            path: path.to_owned(),
            source,
        };
        check_mode(path, &std::fs::metadata(path).map_err(unreadable)?)?;
        let text = std::fs::read_to_string(path).map_err(unreadable)?;
        let token = text.trim();
        let printable = token.bytes().all(|byte| byte.is_ascii_graphic());
        if token.len() < TOKEN_BYTES_MIN || !printable {
            return Err(TokenFileError::NoToken {
                path: path.to_owned(),
            });
        }
        Ok(Self {
            token: Some(Arc::new(Sha256::digest(token).into())),
        })
    }

    /// Returns whether callers must show a token.
    pub fn is_closed(&self) -> bool {
        self.token.is_some()
    }

    /// Returns who calls, where they may.
    ///
    /// # Errors
    /// [`AccessFault`], or a field error about [`ACTOR_KEY`].
    pub fn check(&self, metadata: &MetadataMap) -> Result<Actor, Fault> {
        if let Some(token) = &self.token {
            let header = metadata.get("authorization");
            let header = header.and_then(|value| value.to_str().ok());
            let shown = header.and_then(|text| text.strip_prefix("Bearer "));
            let shown = shown.ok_or(AccessFault::TokenMissing)?;
            if !is_same(token, &Sha256::digest(shown.trim()).into()) {
                return Err(AccessFault::TokenWrong.into());
            }
        }
        actor(metadata)
    }
}

impl tonic::service::Interceptor for Access {
    fn call(
        &mut self,
        mut request: tonic::Request<()>,
    ) -> Result<tonic::Request<()>, tonic::Status> {
        let actor = self
            .check(request.metadata())
            .map_err(|fault| status::of(&fault))?;
        request.extensions_mut().insert(actor);
        Ok(request)
    }
}

fn actor(metadata: &MetadataMap) -> Result<Actor, Fault> {
    let Some(value) = metadata.get(ACTOR_KEY) else {
        return Ok(Actor(ACTOR_UNKNOWN.to_owned()));
    };
    let text = value.to_str().unwrap_or_default().trim();
    let printable = text.bytes().all(|byte| (b' '..=b'~').contains(&byte));
    if (1..=ACTOR_BYTES_MAX).contains(&text.len()) && printable {
        return Ok(Actor(text.to_owned()));
    }
    Err(Refusal::field(
        ACTOR_KEY,
        "is no name",
        format!("send 1 to {ACTOR_BYTES_MAX} printable ASCII characters"),
    )
    .into())
}

/// Compares in a time that does not depend on where the two differ.
fn is_same(one: &[u8; 32], other: &[u8; 32]) -> bool {
    let pairs = one.iter().zip(other);
    pairs.fold(0, |differing, (one, other)| differing | (one ^ other)) == 0
}

#[cfg(unix)]
fn check_mode(path: &Path, metadata: &std::fs::Metadata) -> Result<(), TokenFileError> {
    use std::os::unix::fs::PermissionsExt as _;
    let mode = metadata.permissions().mode() & 0o777;
    let others = mode & 0o077;
    if others == 0 {
        return Ok(());
    }
    Err(TokenFileError::TooOpen {
        path: path.to_owned(),
        mode,
    })
}

#[cfg(not(unix))]
fn check_mode(_path: &Path, _metadata: &std::fs::Metadata) -> Result<(), TokenFileError> {
    Ok(())
}
