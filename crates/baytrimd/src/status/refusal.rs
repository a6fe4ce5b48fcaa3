//! Refusals of a job.

use baytrim_jobs::Refusal;
use baytrim_jobs::refusal::RefusalKind;
use tonic::Code;

use super::Told;
use crate::limits::VIOLATIONS_MAX;

pub(super) fn tell(refusal: &Refusal) -> Told {
    let code = match refusal.kind() {
        RefusalKind::Invalid => Code::InvalidArgument,
        RefusalKind::NotFound => Code::NotFound,
        RefusalKind::Exists => Code::AlreadyExists,
        RefusalKind::State => Code::FailedPrecondition,
        RefusalKind::Conflict => Code::Aborted,
        RefusalKind::Forbidden => Code::PermissionDenied,
    };
    let told = Told::new(code, refusal.reason(), refusal);
    match refusal {
        Refusal::Fields(errors) => {
            let shown = Refusal::Fields(errors.iter().take(VIOLATIONS_MAX).cloned().collect());
            let mut told = Told::new(code, refusal.reason(), &shown);
            if errors.len() > VIOLATIONS_MAX {
                let more = errors.len() - VIOLATIONS_MAX;
                told.message = format!("{}\nand {more} more", told.message);
            }
            told = told.with("field_count", &errors.len());
            errors.iter().fold(told, Told::field)
        }
        Refusal::Stale { base, head, .. } => {
            told.with("base_revision", base).with("head_revision", head)
        }
        Refusal::Decided {
            verdict,
            by,
            at,
            revision,
            ..
        } => {
            let told = told.with("verdict", verdict).with("reviewer", by);
            let told = told.with("decided_unix_ms", &at.0);
            match revision {
                Some(revision) => told.with("revision", revision),
                None => told,
            }
        }
        Refusal::Expired { at, .. } => told.with("expired_unix_ms", &at.0),
        Refusal::SameHand { proposer, .. } => told.with("proposer", proposer),
        Refusal::RevisionUnknown { latest, .. } => told.with("latest_revision", latest),
        Refusal::StageUnknown { latest, .. } => told.with("latest_stage", latest),
        Refusal::ChannelMapUnknown { latest, .. } => told.with("latest_channel_map", latest),
        Refusal::BayUnknown { known, .. } => told.with("bays", known),
        Refusal::SubsetBreaksNeighbour {
            rpm,
            plate_percent,
            neighbour_rpm,
            neighbour_plate_percent,
            pair_count,
            ..
        } => told
            .with("rpm", rpm)
            .with("plate_percent", plate_percent)
            .with("neighbour_rpm", neighbour_rpm)
            .with("neighbour_plate_percent", neighbour_plate_percent)
            .with("pair_count", pair_count),
        _ => told,
    }
}
