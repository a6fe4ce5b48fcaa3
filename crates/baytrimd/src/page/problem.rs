//! What a reader sees when a page can't be shown: what is wrong and where to go.

use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use baytrim_jobs::Refusal;
use baytrim_jobs::refusal::RefusalKind;
use baytrim_model::field::FieldError;
use maud::html;

use super::frame;
use crate::fault::Fault;

/// Why a page can't be shown.
#[derive(Debug)]
pub(super) struct Problem {
    status: StatusCode,
    title: &'static str,
    words: String,
}

impl Problem {
    /// Returns the problem of a page that there isn't.
    pub(super) fn no_page() -> Self {
        Self {
            status: StatusCode::NOT_FOUND,
            title: "There is no such page",
            words: "The address may be cut short, or the job may be in another shop.".to_owned(),
        }
    }

    /// Returns the problem of a form that came after its session had ended.
    pub(super) fn signed_out() -> Self {
        Self {
            status: StatusCode::UNAUTHORIZED,
            title: "You are signed out",
            words: "Nothing was recorded. Sign in, go back to the page, and send the form again."
                .to_owned(),
        }
    }

    /// Returns the problem of a request that another site may have made.
    pub(super) fn forbidden(words: String) -> Self {
        Self {
            status: StatusCode::FORBIDDEN,
            title: "This was not taken",
            words,
        }
    }
}

impl From<Fault> for Problem {
    fn from(fault: Fault) -> Self {
        let (status, title) = match &fault {
            Fault::Refused(refusal) => (status(refusal), "This can't be shown or done"),
            Fault::Busy { .. } | Fault::Contended { .. } | Fault::Stopping => {
                (StatusCode::SERVICE_UNAVAILABLE, "Not just now")
            }
            Fault::Internal(_) => {
                tracing::error!(
                    error = &fault as &dyn std::error::Error,
                    "a page could not be shown"
                );
                let words = "It is the daemon's fault, not yours; its log has the details. Nothing was recorded unless the job's page shows it.";
                return Self {
                    status: StatusCode::INTERNAL_SERVER_ERROR,
                    title: "Something failed",
                    words: words.to_owned(),
                };
            }
            _ => (StatusCode::BAD_REQUEST, "This can't be shown or done"),
        };
        Self {
            status,
            title,
            words: fault.to_string(),
        }
    }
}

impl From<Refusal> for Problem {
    fn from(refusal: Refusal) -> Self {
        Fault::from(refusal).into()
    }
}

impl From<FieldError> for Problem {
    /// A part of an address that names nothing: the page isn't there.
    fn from(_: FieldError) -> Self {
        Self::no_page()
    }
}

/// Returns the HTTP status of a refusal.
pub(super) fn status(refusal: &Refusal) -> StatusCode {
    match refusal.kind() {
        RefusalKind::Invalid => StatusCode::UNPROCESSABLE_ENTITY,
        RefusalKind::NotFound => StatusCode::NOT_FOUND,
        RefusalKind::Forbidden => StatusCode::FORBIDDEN,
        RefusalKind::Exists | RefusalKind::State | RefusalKind::Conflict => StatusCode::CONFLICT,
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let body = html! {
            h1 { (self.title) }
            p.lead { (self.words) }
            p { a.button href="/" { "To the inbox" } }
        };
        let page = frame::page(self.title, &[], &body);
        (self.status, Html(page.into_string())).into_response()
    }
}
