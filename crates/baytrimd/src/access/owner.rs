//! First start: the shop's first member, and the file with its token.

use std::path::{Path, PathBuf};

use baytrim_access::state::TokenEntry;
use baytrim_access::{AccessRefusal, ShopState, decide};
use baytrim_model::ids::Actor;
use baytrim_model::shop::{Member, MemberName, Role, ShopEvent, TokenIssue};

use super::{Access, Token};
use crate::fault::Fault;
use crate::private;
use crate::shop::Author;

/// Name of the file with the first token, within the ledger's directory.
pub const OWNER_FILE: &str = "owner.token";

/// Name of the first member.
pub const OWNER_NAME: &str = "owner";

/// Under whose name the daemon records what no member did; no member can have it.
const RECORDED_BY: &str = "baytrimd";

/// Why the first token can't be handed over.
#[derive(Debug, thiserror::Error)]
pub enum OwnerError {
    /// Its file can't be written.
    #[error("{}: the first token can't be written; check the directory", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// It can't be recorded.
    #[error("the first member can't be recorded")]
    Record(#[source] Box<Fault>),
}

/// Why no owner is given a new token.
#[derive(Debug, thiserror::Error)]
pub enum RecoverError {
    /// The shop has no members yet.
    #[error(
        "the shop has no owner yet; `baytrimd serve` makes the first and says where the token is"
    )]
    NoOwner,
    /// There is more than one.
    #[error("the shop has several owners: {names}; say whose token is lost with --member")]
    Several {
        /// Their names.
        names: String,
    },
    /// The member is none of them.
    #[error("{member} is no owner of the shop; the owners are {names}")]
    NotAnOwner {
        /// The member.
        member: String,
        /// The owners.
        names: String,
    },
    /// The token's file can't be written.
    #[error("{}: the token can't be written; check the directory", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// It can't be recorded.
    #[error("the new token can't be recorded")]
    Record(#[source] Box<Fault>),
}

/// Makes the first member where there is none, with a token in `directory`; returns where an owner's token file is.
///
/// It may say who may do what, open jobs and propose; verdicts take a reviewer, or a shop of one person.
///
/// # Errors
/// When the file can't be written, or the member not be recorded.
pub fn establish(access: &Access, directory: &Path) -> Result<Option<PathBuf>, OwnerError> {
    let path = directory.join(OWNER_FILE);
    let is_first = establish_at(access, &path)?;
    Ok((is_first || path.is_file()).then_some(path))
}

/// Makes the first member where there is none, with a token in the file `path`; returns whether it did.
///
/// # Errors
/// As [`establish`].
pub fn establish_at(access: &Access, path: &Path) -> Result<bool, OwnerError> {
    let record = |fault: Fault| OwnerError::Record(Box::new(fault));
    if access.state().members().next().is_some() {
        return Ok(false);
    }
    let token = Token::make().map_err(|fault| record(fault.into()))?;
    let file = |source| OwnerError::File {
        path: path.to_owned(),
        source,
    };
    // The file first: a member whose token nobody has could never be reached.
    write(path, &token).map_err(file)?;
    let is_first = found(access, &token, &[Role::Owner, Role::Tuner]).map_err(record)?;
    if !is_first {
        // Another daemon on the same ledger was first, and its file has the token.
        std::fs::remove_file(path).map_err(file)?;
    }
    Ok(is_first)
}

/// Gives an owner a new token in the file `path` and makes all their others void; returns who it is.
///
/// For when an owner's token is lost and no other owner is left. Who can do this can write the ledger itself.
///
/// # Errors
/// [`RecoverError`]; nothing is recorded then.
pub fn recover(
    access: &Access,
    path: &Path,
    member: Option<&MemberName>,
    reason: &str,
) -> Result<MemberName, RecoverError> {
    let shop = access.state();
    let owner = pick_owner(&shop, member)?;
    let token = Token::make().map_err(|fault| RecoverError::Record(Box::new(fault.into())))?;
    let author = Author {
        by: Actor(RECORDED_BY.to_owned()),
        request_id: None,
    };
    let issue = TokenIssue {
        id: token.id().clone(),
        member: owner.clone(),
        sha256: token.hash(),
        expires_at: None,
    };
    let plan = |state: &ShopState| -> Result<Vec<ShopEvent>, AccessRefusal> {
        let is_theirs = |entry: &&TokenEntry| {
            entry.revoked_at.is_none() && entry.issue.member.key() == owner.key()
        };
        let lost = state.tokens().filter(is_theirs);
        let lost = lost.map(|entry| decide::revoke_token(state, &entry.issue.id, reason));
        let issued = decide::issue_token(state, issue.clone(), access.now());
        lost.chain([issued]).collect()
    };
    // Tried first, so that no file changes where the record would refuse.
    plan(&shop).map_err(|refusal| RecoverError::Record(Box::new(refusal.into())))?;
    write(path, &token).map_err(|source| RecoverError::File {
        path: path.to_owned(),
        source,
    })?;
    let recorded = access.decide(&author, &|_| false, plan);
    recorded.map_err(|fault| RecoverError::Record(Box::new(fault)))?;
    Ok(owner)
}

fn pick_owner(shop: &ShopState, member: Option<&MemberName>) -> Result<MemberName, RecoverError> {
    let owners: Vec<&MemberName> = shop.owners().map(|entry| &entry.member.name).collect();
    let names = owners
        .iter()
        .map(|name| name.as_str())
        .collect::<Vec<_>>()
        .join(", ");
    let found = match (member, owners.as_slice()) {
        (Some(member), _) => owners.iter().find(|name| name.key() == member.key()),
        (None, [only]) => Some(only),
        (None, _) => None,
    };
    match (found, member) {
        (Some(found), _) => Ok((*found).clone()),
        (None, _) if owners.is_empty() => Err(RecoverError::NoOwner),
        (None, Some(member)) => Err(RecoverError::NotAnOwner {
            member: member.to_string(),
            names,
        }),
        (None, None) => Err(RecoverError::Several { names }),
    }
}

/// Records the first member with its token; returns whether it did, false meaning that there are members already.
///
/// # Errors
/// The store's fault.
pub fn found(access: &Access, token: &Token, roles: &[Role]) -> Result<bool, Fault> {
    let author = Author {
        by: Actor(RECORDED_BY.to_owned()),
        request_id: None,
    };
    let name: MemberName = OWNER_NAME.parse().map_err(AccessRefusal::from)?;
    let settled = access.decide(&author, &|_| false, |state| {
        if state.members().next().is_some() {
            return Ok(Vec::new());
        }
        let member = Member {
            name: name.clone(),
            roles: roles.iter().copied().collect(),
            bay: None,
            answered_by: None,
        };
        let issue = TokenIssue {
            id: token.id().clone(),
            member: name.clone(),
            sha256: token.hash(),
            expires_at: None,
        };
        Ok(vec![
            ShopEvent::MemberAdded { member },
            ShopEvent::TokenIssued { token: issue },
        ])
    })?;
    Ok(settled.state.token(token.id()).is_some())
}

/// Writes a token into a file that only its owner may read.
///
/// # Errors
/// What the system says.
pub fn write(path: &Path, token: &Token) -> std::io::Result<()> {
    private::replace(path, &format!("{}\n", token.text()))
}
