//! Callers that are not let in, and requests about members, tokens or rules that are not granted.

use baytrim_access::AccessRefusal;
use tonic::Code;

use super::Told;
use crate::fault::AccessFault;

/// Seconds after which another try may help: one attempt is forgiven in six.
const RETRY_S: u64 = 6;

pub(super) fn tell(fault: &AccessFault) -> Told {
    let told = |code, reason| Told::new(code, reason, fault);
    match fault {
        AccessFault::TokenNotAccepted => told(Code::Unauthenticated, "TOKEN_NOT_ACCEPTED"),
        AccessFault::TokenExpired => told(Code::Unauthenticated, "TOKEN_EXPIRED"),
        AccessFault::TokenRevoked => told(Code::Unauthenticated, "TOKEN_REVOKED"),
        AccessFault::TooManyAttempts => {
            told(Code::ResourceExhausted, "TOO_MANY_ATTEMPTS").retry_in_s(RETRY_S)
        }
        AccessFault::NotPermitted { method, roles, .. } => {
            let told = told(Code::PermissionDenied, "NOT_PERMITTED").with("method", method);
            told.with("roles", roles)
        }
        AccessFault::OtherName { member } => {
            told(Code::PermissionDenied, "ACTOR_OTHER").with("member", member)
        }
        AccessFault::CertificateNeeded { member } => {
            told(Code::Unauthenticated, "CERTIFICATE_NEEDED").with("member", member)
        }
        AccessFault::OtherBay { bay, .. } => {
            told(Code::PermissionDenied, "BAY_OTHER").with("bay", bay)
        }
    }
}

pub(super) fn refused(refusal: &AccessRefusal) -> Told {
    let code = match refusal {
        AccessRefusal::Field(_) => Code::InvalidArgument,
        AccessRefusal::MemberExists(_) | AccessRefusal::RequestIdReused(_) => Code::AlreadyExists,
        AccessRefusal::MemberUnknown(_) | AccessRefusal::TokenUnknown(_) => Code::NotFound,
        AccessRefusal::TokenVoid(_)
        | AccessRefusal::LastOwner(_)
        | AccessRefusal::ShownBefore(_) => Code::FailedPrecondition,
    };
    let told = Told::new(code, refusal.reason(), refusal);
    match refusal {
        AccessRefusal::Field(error) => told.field(error),
        AccessRefusal::ShownBefore(token) => told.with("token_id", token),
        _ => told,
    }
}
