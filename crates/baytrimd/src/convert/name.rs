//! Resource names: `jobs/{job}` and what is below.

use std::str::FromStr;

use baytrim_jobs::Refusal;
use baytrim_model::field::FieldError;
use baytrim_model::ids::{BayName, ChannelMapId, JobId, ProposalId, PullId, RevisionId, StageId};

/// Returns the name of a job.
pub fn job(id: &JobId) -> String {
    format!("jobs/{id}")
}

/// Returns the name of a pull.
pub fn pull(job: &JobId, id: PullId) -> String {
    format!("jobs/{job}/pulls/{id}")
}

/// Returns the name of a proposal.
pub fn proposal(job: &JobId, id: ProposalId) -> String {
    format!("jobs/{job}/proposals/{id}")
}

/// Returns the name of a revision.
pub fn revision(job: &JobId, id: RevisionId) -> String {
    format!("jobs/{job}/revisions/{id}")
}

/// Returns the name of a stage.
pub fn stage(job: &JobId, id: StageId) -> String {
    format!("jobs/{job}/stages/{id}")
}

/// Returns the name of a bay.
pub fn bay(id: &BayName) -> String {
    format!("bays/{id}")
}

/// Returns the name of a channel map.
pub fn channel_map(bay: &BayName, id: ChannelMapId) -> String {
    format!("bays/{bay}/maps/{id}")
}

/// Returns the job that `name` names; `field` is where the name stands in the request.
///
/// # Errors
/// When it names none.
pub fn parse_job(field: &str, name: &str) -> Result<JobId, Refusal> {
    let parts: Vec<&str> = name.split('/').collect();
    match parts.as_slice() {
        ["jobs", job] => part(field, job),
        _ => Err(wrong(field, name, "jobs/JOB")),
    }
}

/// Returns the job whose delivery `name` names.
///
/// # Errors
/// When it names none.
pub fn parse_delivery(field: &str, name: &str) -> Result<JobId, Refusal> {
    let parts: Vec<&str> = name.split('/').collect();
    match parts.as_slice() {
        ["jobs", job, "delivery"] => part(field, job),
        _ => Err(wrong(field, name, "jobs/JOB/delivery")),
    }
}

/// Returns the job and the pull that `name` names.
///
/// # Errors
/// When it names none.
pub fn parse_pull(field: &str, name: &str) -> Result<(JobId, PullId), Refusal> {
    below(field, name, "pulls", "jobs/JOB/pulls/p1")
}

/// Returns the job and the proposal that `name` names.
///
/// # Errors
/// When it names none.
pub fn parse_proposal(field: &str, name: &str) -> Result<(JobId, ProposalId), Refusal> {
    below(field, name, "proposals", "jobs/JOB/proposals/c1")
}

/// Returns the job and the revision that `name` names; none for `-`, the one in force.
///
/// # Errors
/// When it names none.
pub fn parse_revision(field: &str, name: &str) -> Result<(JobId, Option<RevisionId>), Refusal> {
    if let Some(rest) = name.strip_suffix("/revisions/-") {
        return Ok((parse_job(field, rest)?, None));
    }
    let (job, id) = below(
        field,
        name,
        "revisions",
        "jobs/JOB/revisions/r1 or jobs/JOB/revisions/-",
    )?;
    Ok((job, Some(id)))
}

/// Returns the bay that `name` names.
///
/// # Errors
/// When it names none.
pub fn parse_bay(field: &str, name: &str) -> Result<BayName, Refusal> {
    let parts: Vec<&str> = name.split('/').collect();
    match parts.as_slice() {
        ["bays", bay] => part(field, bay),
        _ => Err(wrong(field, name, "bays/BAY")),
    }
}

/// Returns the bay and the channel map that `name` names; none for `-`, the one in force.
///
/// # Errors
/// When it names none.
pub fn parse_channel_map(
    field: &str,
    name: &str,
) -> Result<(BayName, Option<ChannelMapId>), Refusal> {
    let parts: Vec<&str> = name.split('/').collect();
    match parts.as_slice() {
        ["bays", bay, "maps", "-"] => Ok((part(field, bay)?, None)),
        ["bays", bay, "maps", id] => Ok((part(field, bay)?, Some(part(field, id)?))),
        _ => Err(wrong(field, name, "bays/BAY/maps/m1 or bays/BAY/maps/-")),
    }
}

/// Returns `text` as the identifier that it should be.
///
/// # Errors
/// When it is none; the complaint names `field`.
pub fn part<T: FromStr<Err = FieldError>>(field: &str, text: &str) -> Result<T, Refusal> {
    text.parse().map_err(|error: FieldError| {
        Refusal::Fields(vec![FieldError {
            field: field.to_owned(),
            ..error
        }])
    })
}

fn below<T: FromStr<Err = FieldError>>(
    field: &str,
    name: &str,
    collection: &str,
    form: &str,
) -> Result<(JobId, T), Refusal> {
    let parts: Vec<&str> = name.split('/').collect();
    match parts.as_slice() {
        ["jobs", job, found, id] if *found == collection => {
            Ok((part(field, job)?, part(field, id)?))
        }
        _ => Err(wrong(field, name, form)),
    }
}

fn wrong(field: &str, name: &str, form: &str) -> Refusal {
    Refusal::field(
        field,
        format!("{name:?} is no such name"),
        format!("write {form}"),
    )
}
