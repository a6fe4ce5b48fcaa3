//! Chunk 0 of a spool: what the pull was begun with.

use baytrim_jobs::pulls::Circumstances;
use baytrim_model::channel::ChannelMap;
use baytrim_model::ids::{Actor, BayName, JobId, ModeName, RevisionId, StageId, UnixMillis};
use baytrim_model::power::Conditions;
use baytrim_model::pull::ChannelMapSource;
use serde::{Deserialize, Serialize};

use super::StreamFault;
use crate::convert::request::Submitter;
use crate::convert::stream::Opening;

/// What a live pull was begun with, as JSON in chunk 0 of its spool.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Header {
    pub(super) request_id: String,
    pub(super) job: JobId,
    pub(super) bay: BayName,
    pub(super) revision: RevisionId,
    /// The stage that the vehicle was in; none where an earlier program wrote this.
    #[serde(default)]
    pub(super) stage: Option<StageId>,
    /// The riding mode; none where nobody named one, or an earlier program wrote this.
    #[serde(default)]
    pub(super) mode: Option<ModeName>,
    #[serde(default)]
    pub(super) grip_revision: Option<RevisionId>,
    pub(super) channels: ChannelMap,
    pub(super) opened_at: UnixMillis,
    /// Who began it; none where an earlier program wrote this.
    #[serde(default)]
    pub(super) opened_by: Option<Actor>,
    /// The bay's air as it was given; none where nobody gave any.
    #[serde(default)]
    pub(super) conditions: Option<Conditions>,
}

impl Header {
    /// Checks that whoever goes on with the pull may.
    pub(super) fn check_hand(&self, by: &Submitter) -> Result<(), StreamFault> {
        match &self.opened_by {
            Some(begun_by) if !by.may_go_on_with(begun_by) => Err(StreamFault::Others {
                request_id: self.request_id.clone(),
                by: begun_by.0.clone(),
            }),
            _ => Ok(()),
        }
    }

    pub(super) fn circumstances(&self) -> Circumstances {
        Circumstances {
            bay: self.bay.clone(),
            revision: self.revision,
            stage: self.stage,
            mode: self.mode.clone(),
            grip_revision: self.grip_revision,
            channels: self.channels.clone(),
            channels_from: Some(ChannelMapSource::Standard),
            delay_expected: None,
            conditions: self.conditions,
        }
    }

    /// Checks that who resumes the pull means the one that was begun; an empty revision means the same.
    pub(super) fn check(&self, opening: &Opening) -> Result<(), StreamFault> {
        let revision = match opening.revision.as_str() {
            "" => self.revision.to_string(),
            given => given.to_owned(),
        };
        let grip_revision = match opening.grip_revision.as_str() {
            "" => word_of(self.grip_revision.as_ref()),
            given => given.to_owned(),
        };
        let pairs = [
            (
                "request_id",
                self.request_id.clone(),
                opening.request_id.0.clone(),
            ),
            ("job", self.job.to_string(), opening.job.to_string()),
            ("bay", self.bay.to_string(), opening.bay.clone()),
            ("revision", self.revision.to_string(), revision),
            ("mode", word_of(self.mode.as_ref()), opening.mode.clone()),
            (
                "grip_revision",
                word_of(self.grip_revision.as_ref()),
                grip_revision,
            ),
            ("evidence", word(&self.channels), word(&opening.channels)),
        ];
        match pairs.into_iter().find(|(_, before, now)| before != now) {
            None => Ok(()),
            Some((field, before, now)) => Err(StreamFault::Mismatch {
                request_id: self.request_id.clone(),
                field,
                before,
                now,
            }),
        }
    }
}

fn word_of<T: ToString>(name: Option<&T>) -> String {
    name.map_or_else(String::new, T::to_string)
}

fn word(channels: &ChannelMap) -> String {
    use baytrim_model::channel::EvidenceKind;
    let word = match channels.evidence {
        EvidenceKind::Lambda => "lambda",
        EvidenceKind::Trims => "trims",
        EvidenceKind::LambdaAndTrims => "lambda_and_trims",
    };
    word.to_owned()
}
