//! Who looks at the page, for the time of one request.
//!
//! Kept beside the request, so that every view can say whose page it is without being handed it.

use std::future::Future;

use axum::extract::{Request, State};
use axum::http::header::{COOKIE, HeaderMap};
use axum::http::{Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Redirect, Response};
use baytrim_model::ids::Actor;
use maud::{Markup, html};

use super::problem::Problem;
use super::sign_in;
use crate::access::{Access, Admitted};
use crate::fault::AccessFault;
use crate::shop::Author;

/// Name of the cookie that holds a session's secret.
pub(super) const COOKIE_NAME: &str = "baytrim-session";

/// What an open page asks for by itself: a tablet that lies about is not in use.
const NEWS_PATH: &str = "/changes";

tokio::task_local! {
    static SIGNED_IN: Admitted;
}

/// Returns who is signed in.
///
/// # Errors
/// [`AccessFault::TokenNotAccepted`] outside of a request that passed [`enter`].
pub(super) fn signed_in() -> Result<Admitted, AccessFault> {
    SIGNED_IN
        .try_with(Clone::clone)
        .map_err(|_| AccessFault::TokenNotAccepted)
}

/// Returns who is signed in, as records name them; none on the page that signs in.
pub(super) fn actor() -> Option<Actor> {
    let admitted = signed_in().ok()?;
    Some(admitted.caller.member.name.actor())
}

/// Returns who signs what a form records: a browser sends each once.
///
/// # Errors
/// As [`signed_in`].
pub(super) fn author() -> Result<Author, AccessFault> {
    Ok(Author {
        by: signed_in()?.caller.member.name.actor(),
        request_id: None,
    })
}

/// Returns whether who is signed in may call a method of the API; a form that would be refused is not shown.
pub(super) fn may(method: &str) -> bool {
    signed_in().is_ok_and(|admitted| admitted.caller.may(method))
}

/// Returns the line of a form that says who signs.
pub(super) fn signs() -> Markup {
    html! {
        @if let Some(name) = actor() { p.quiet { "You sign as " strong { (name.0) } "." } }
    }
}

/// Does `work` for somebody who is signed in.
pub(super) async fn while_signed_in<T>(who: Admitted, work: impl Future<Output = T>) -> T {
    SIGNED_IN.scope(who, work).await
}

/// Returns `work` such that it knows who is signed in on another thread, too.
pub(super) fn carried<T>(work: impl FnOnce() -> T) -> impl FnOnce() -> T {
    let who = signed_in().ok();
    move || match who {
        Some(who) => SIGNED_IN.sync_scope(who, work),
        None => work(),
    }
}

/// Lets a request through where who is signed in may make it; sends everybody else to sign in.
pub(super) async fn enter(State(access): State<Access>, request: Request, next: Next) -> Response {
    let path = request.uri().path();
    if path.starts_with("/assets/") || path == sign_in::PATH || path.starts_with(sign_in::LINK_PATH)
    {
        return next.run(request).await;
    }
    let is_done = path != NEWS_PATH;
    let holder = cookie(request.headers())
        .and_then(|secret| access.sessions().holder(secret, access.now(), is_done))
        .and_then(|token| access.holder(&token));
    let Some(admitted) = holder else {
        return away(&request);
    };
    let Some(method) = method_of(request.method(), path) else {
        return Problem::no_page().into_response();
    };
    match admitted.check(method) {
        Ok(()) => while_signed_in(admitted, next.run(request)).await,
        Err(fault) => {
            let words = Problem::forbidden(fault.to_string());
            while_signed_in(admitted, async { words.into_response() }).await
        }
    }
}

/// Sends a reader to the sign-in and back again; a form is told what became of it.
fn away(request: &Request) -> Response {
    if matches!(*request.method(), Method::GET | Method::HEAD) {
        return Redirect::to(&sign_in::path_back_to(request.uri().path())).into_response();
    }
    let mut answer = Problem::signed_out().into_response();
    *answer.status_mut() = StatusCode::UNAUTHORIZED;
    answer
}

/// Returns the session's secret that a browser shows.
pub(super) fn cookie(headers: &HeaderMap) -> Option<&str> {
    let cookies = headers
        .get_all(COOKIE)
        .iter()
        .filter_map(|value| value.to_str().ok());
    cookies
        .flat_map(|text| text.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find_map(|(name, value)| (name == COOKIE_NAME).then_some(value))
}

/// Returns the method of the API whose row says who may ask for a page; none: no form leads there.
fn method_of(method: &Method, path: &str) -> Option<&'static str> {
    if matches!(*method, Method::GET | Method::HEAD) {
        return Some("CorrectionService/GetProposal");
    }
    let last = path.rsplit('/').next().unwrap_or_default();
    Some(match last {
        "sign-out" => "AccessService/GetCaller",
        "selection" => "CorrectionService/GetProposal",
        "approve" => "ReviewService/ApproveProposal",
        "reject" => "ReviewService/RejectProposal",
        "revert" => "TableService/RevertTable",
        "comment" => "ReviewService/CreateComment",
        "start" => "LibraryService/CreateStartingTable",
        "begin" => "StageService/CreateStage",
        "close" => "JobService/CloseJob",
        "reopen" => "JobService/ReopenJob",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use axum::http::HeaderValue;

    use super::*;

    /// If this fails, a form of the page asks for another role than the API does, or a new form for none.
    #[test]
    fn forms_ask_for_the_rows_of_the_api() {
        let of = |path: &str| method_of(&Method::POST, path);
        let proposal = "/jobs/j/proposals/c1";
        assert_eq!(
            of(&format!("{proposal}/approve")),
            Some("ReviewService/ApproveProposal")
        );
        assert_eq!(
            of(&format!("{proposal}/reject")),
            Some("ReviewService/RejectProposal")
        );
        assert_eq!(
            of("/jobs/j/revisions/r1/revert"),
            Some("TableService/RevertTable")
        );
        assert_eq!(of("/jobs/j/stages/begin"), Some("StageService/CreateStage"));
        assert_eq!(
            of("/jobs/j/library/start"),
            Some("LibraryService/CreateStartingTable")
        );
        assert_eq!(of("/jobs/j/stages/close"), Some("JobService/CloseJob"));
        assert_eq!(of("/jobs/j/stages/reopen"), Some("JobService/ReopenJob"));
        assert_eq!(of(&format!("{proposal}/forget")), None);
        assert_eq!(method_of(&Method::DELETE, proposal), None);
    }

    /// If this fails, another cookie is taken for the session's, or the session's is not found among others.
    #[test]
    fn the_session_is_found_among_cookies() {
        let mut headers = HeaderMap::new();
        assert_eq!(cookie(&headers), None);
        headers.append(COOKIE, HeaderValue::from_static("a=1; xbaytrim-session=2"));
        assert_eq!(cookie(&headers), None);
        headers.append(
            COOKIE,
            HeaderValue::from_static("b=3; baytrim-session=secret"),
        );
        assert_eq!(cookie(&headers), Some("secret"));
    }
}
