//! What all requests have in common.

use baytrim_jobs::Refusal;
use baytrim_model::ids::{Actor, BayName, RequestId};
use tonic::Request;

use crate::access::{ACTOR_UNKNOWN, Admitted};
use crate::fault::AccessFault;
use crate::limits::{REQUEST_ID_BYTES_MAX, STREAM_ID_BYTES};
use crate::shop::Author;

/// Returns who sent a request, as the access check found it.
pub fn actor<T>(request: &Request<T>) -> Actor {
    let found = request.extensions().get::<Actor>().cloned();
    found.unwrap_or_else(|| Actor(ACTOR_UNKNOWN.to_owned()))
}

/// Who submits a pull.
#[derive(Debug, Clone, PartialEq)]
pub struct Submitter {
    /// Who it is.
    pub by: Actor,
    /// The one bay whose pulls it may submit; none: any.
    pub bay: Option<BayName>,
}

impl Submitter {
    /// Checks that a pull of `bay` may be submitted.
    ///
    /// # Errors
    /// [`AccessFault::OtherBay`].
    pub fn check(&self, bay: &str) -> Result<(), AccessFault> {
        match &self.bay {
            Some(own) if own.to_string() != bay => Err(AccessFault::OtherBay {
                member: self.by.0.clone(),
                bay: own.to_string(),
            }),
            _ => Ok(()),
        }
    }
}

/// Returns who submits, as the access check found it.
pub fn submitter<T>(request: &Request<T>) -> Submitter {
    let admitted = request.extensions().get::<Admitted>();
    Submitter {
        by: actor(request),
        bay: admitted.and_then(|admitted| admitted.caller.member.bay.clone()),
    }
}

/// Returns who asks under which request id; an empty id is none.
///
/// # Errors
/// When the id is too long or not printable.
pub fn author(by: Actor, request_id: &str) -> Result<Author, Refusal> {
    let request_id = match request_id {
        "" => None,
        text => Some(checked(text)?),
    };
    Ok(Author { by, request_id })
}

fn checked(text: &str) -> Result<RequestId, Refusal> {
    let printable = text.bytes().all(|byte| byte.is_ascii_graphic());
    if text.len() <= REQUEST_ID_BYTES_MAX && printable {
        return Ok(RequestId(text.to_owned()));
    }
    Err(Refusal::field(
        "request_id",
        "is no usable name",
        format!(
            "write 1 to {REQUEST_ID_BYTES_MAX} printable ASCII characters without spaces; a UUID serves"
        ),
    ))
}

/// Returns the name of a live pull.
///
/// # Errors
/// When it is missing, too short, too long or has other characters.
pub fn stream_id(text: &str) -> Result<RequestId, Refusal> {
    let allowed = text
        .bytes()
        .all(|byte| byte.is_ascii_alphanumeric() || byte == b'-');
    if STREAM_ID_BYTES.contains(&text.len()) && allowed {
        return Ok(RequestId(text.to_owned()));
    }
    Err(Refusal::field(
        "open.request_id",
        format!("is {} bytes long or has other characters", text.len()),
        format!(
            "write {} to {} letters, digits and hyphens; a UUID serves",
            STREAM_ID_BYTES.start(),
            STREAM_ID_BYTES.end()
        ),
    ))
}
