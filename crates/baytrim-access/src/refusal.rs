//! Why a request about members, tokens or rules is not granted.

use baytrim_model::field::FieldError;
use baytrim_model::shop::TokenId;

/// Why a request about members, tokens or rules is not granted.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum AccessRefusal {
    /// A field of the request is wrong.
    #[error(transparent)]
    Field(#[from] FieldError),
    /// The shop has a member of that name.
    #[error(
        "the shop has a member {0:?} already; capitals make no difference; choose another name"
    )]
    MemberExists(String),
    /// The shop has no such member.
    #[error("there is no member {0:?}; `baytrim member list` names those that there are")]
    MemberUnknown(String),
    /// There is no such token.
    #[error("there is no token {0}; `baytrim token list` names those that there are")]
    TokenUnknown(TokenId),
    /// The token is void already.
    #[error("token {0} is void already")]
    TokenVoid(TokenId),
    /// Nobody would be left who may say who may do what.
    #[error("{0:?} is the last owner; give somebody else the role first")]
    LastOwner(String),
    /// The request was granted before, and its token shown.
    #[error(
        "this very request was granted before, and its token {0} shown then; it is kept nowhere: make it void with `baytrim token revoke {0}` and issue another"
    )]
    ShownBefore(TokenId),
    /// The same request id was used for something else.
    #[error("request id {0:?} was used for another request before; use a fresh one")]
    RequestIdReused(String),
}

impl AccessRefusal {
    /// Returns the refusal of one wrong field.
    pub fn field(field: &str, problem: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self::Field(FieldError::new(field, problem, remedy))
    }

    /// Returns the stable name of the refusal, for `google.rpc.ErrorInfo`.
    pub fn reason(&self) -> &'static str {
        match self {
            Self::Field(_) => "FIELD_INVALID",
            Self::MemberExists(_) => "MEMBER_EXISTS",
            Self::MemberUnknown(_) => "MEMBER_UNKNOWN",
            Self::TokenUnknown(_) => "TOKEN_UNKNOWN",
            Self::TokenVoid(_) => "TOKEN_VOID",
            Self::LastOwner(_) => "LAST_OWNER",
            Self::ShownBefore(_) => "TOKEN_SHOWN_BEFORE",
            Self::RequestIdReused(_) => "REQUEST_ID_REUSED",
        }
    }
}
