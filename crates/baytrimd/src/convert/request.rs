//! What all requests have in common.

use std::sync::Arc;

use baytrim_access::ShopState;
use baytrim_jobs::Refusal;
use baytrim_model::ids::{Actor, BayName, RequestId};
use baytrim_model::shop::Role;
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
    /// Whether it may go on with live pulls that others began.
    pub takes_over: bool,
    /// The shop, which says who answers for whom.
    shop: Arc<ShopState>,
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

    /// Returns whether a live pull that `begun_by` began may be gone on with.
    pub fn may_go_on_with(&self, begun_by: &Actor) -> bool {
        self.takes_over || self.shop.is_same_hand(&self.by, begun_by)
    }
}

/// Returns who submits, as the access check found it.
pub fn submitter<T>(request: &Request<T>) -> Submitter {
    let admitted = request.extensions().get::<Admitted>();
    let member = admitted.map(|admitted| &admitted.caller.member);
    // Who opens jobs answers for their pulls; in a shop of one person that is the owner.
    let takes_over = admitted.is_some_and(|admitted| {
        let (roles, policy) = (admitted.caller.roles(), &admitted.caller.policy);
        roles.contains(&Role::Tuner) || (policy.one_person && roles.contains(&Role::Owner))
    });
    Submitter {
        by: actor(request),
        bay: member.and_then(|member| member.bay.clone()),
        takes_over,
        shop: admitted.map_or_else(Arc::default, |admitted| Arc::clone(&admitted.shop)),
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
