//! Opening a job.

use baytrim_model::ids::JobId;
use baytrim_model::job::JobSpec;
use baytrim_model::record::JobEvent;

use crate::job_file::{self, Attachments};
use crate::refusal::Refusal;

/// Returns the job that a job file asks for, not yet opened.
///
/// # Errors
/// [`Refusal::Fields`] with every field that is wrong.
pub fn read(text: &str, attachments: &Attachments, id: Option<JobId>) -> Result<JobSpec, Refusal> {
    job_file::parse(text, attachments, id).map_err(Refusal::Fields)
}

/// Returns the event that opens a job.
pub fn event(spec: JobSpec) -> JobEvent {
    JobEvent::JobOpened {
        spec: Box::new(spec),
    }
}
