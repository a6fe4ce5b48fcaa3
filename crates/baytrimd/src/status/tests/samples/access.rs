//! Callers that are not let in, and requests about members, tokens or rules.

use baytrim_access::AccessRefusal;

use crate::fault::{AccessFault, Fault};

pub(super) fn access() -> Vec<Fault> {
    vec![
        AccessFault::TokenNotAccepted.into(),
        AccessFault::TokenExpired.into(),
        AccessFault::TokenRevoked.into(),
        AccessFault::TooManyAttempts.into(),
        AccessFault::NotPermitted {
            member: "bay-east".to_owned(),
            method: "ReviewService/ApproveProposal".to_owned(),
            roles: "reviewer".to_owned(),
        }
        .into(),
        AccessFault::OtherName {
            member: "R. Quenby".to_owned(),
        }
        .into(),
        AccessFault::CertificateNeeded {
            member: "bay-east".to_owned(),
        }
        .into(),
        AccessFault::OtherBay {
            member: "bay-east".to_owned(),
            bay: "east".to_owned(),
        }
        .into(),
        AccessRefusal::field("roles", "is empty", "give one").into(),
        AccessRefusal::MemberExists("R. Quenby".to_owned()).into(),
        AccessRefusal::MemberUnknown("R. Quenby".to_owned()).into(),
        AccessRefusal::TokenUnknown(token()).into(),
        AccessRefusal::TokenVoid(token()).into(),
        AccessRefusal::LastOwner("owner".to_owned()).into(),
        AccessRefusal::ShownBefore(token()).into(),
        AccessRefusal::RequestIdReused("r-1".to_owned()).into(),
    ]
}

fn token() -> baytrim_model::shop::TokenId {
    "abcdefgh".parse().expect("a name")
}
