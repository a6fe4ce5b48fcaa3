//! The two invented people of the demo: one proposes, another decides.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};

use anyhow::Context as _;
use baytrim_access::decide;
use baytrim_model::ids::Actor;
use baytrim_model::shop::{Member, MemberName, Role, TokenIssue};

use crate::access::{Access, OWNER_NAME, Place, Places, Token, establish, write};
use crate::cli::places_directory;
use crate::shop::Author;

/// Who opens jobs and proposes in the demo; invented.
pub(super) const TUNER: &str = "M. Ottoway";

/// Who decides in the demo; invented.
pub(super) const REVIEWER: &str = "R. Quenby";

/// The files with the tokens of the demo's people.
pub(super) struct People {
    pub(super) tuner: PathBuf,
    pub(super) reviewer: PathBuf,
    owner: Option<PathBuf>,
}

impl People {
    /// Makes both known, and their tokens, where they are not yet.
    pub(super) fn known(access: &Access, directory: &Path) -> anyhow::Result<Self> {
        let owner = establish(access, directory)?;
        Ok(Self {
            tuner: person(access, TUNER, Role::Tuner, &directory.join("tuner.token"))?,
            reviewer: person(
                access,
                REVIEWER,
                Role::Reviewer,
                &directory.join("reviewer.token"),
            )?,
            owner,
        })
    }

    /// Lets the command line in another terminal find the tokens, the tuner's first.
    pub(super) fn tell_command_line(&self, address: SocketAddr) -> Option<Places> {
        let owner = self.owner.as_ref().map(|file| (OWNER_NAME, file));
        let all = [(TUNER, &self.tuner), (REVIEWER, &self.reviewer)]
            .into_iter()
            .chain(owner);
        let places = all.map(|(member, file)| Place {
            member: member.to_owned(),
            file: file.clone(),
        });
        let places: Vec<Place> = places.collect();
        // Where that fails, `--token-file` still does.
        Places::write(&places_directory()?, address, &places, None).ok()
    }
}

fn person(access: &Access, name: &str, role: Role, file: &Path) -> anyhow::Result<PathBuf> {
    let author = Author {
        by: Actor(OWNER_NAME.to_owned()),
        request_id: None,
    };
    let name: MemberName = name.parse()?;
    let member = Member {
        name: name.clone(),
        roles: [role].into(),
        bay: None,
        answered_by: None,
    };
    if access.state().member(&name).is_none() {
        access.record(&author, |state| decide::add_member(state, member.clone()))?;
    }
    let kept = std::fs::read_to_string(file).unwrap_or_default();
    if access.admit(Some(kept.trim()), None).is_ok() {
        return Ok(file.to_owned());
    }
    let token = Token::make()?;
    write(file, &token).with_context(|| format!("can't write {}", file.display()))?;
    let issue = TokenIssue {
        id: token.id().clone(),
        member: name,
        sha256: token.hash(),
        expires_at: None,
    };
    access.record(&author, |state| {
        decide::issue_token(state, issue.clone(), access.now())
    })?;
    Ok(file.to_owned())
}
