//! Signing in with a token or by a link that is good once, and signing out.

use axum::Router;
use axum::extract::{Form, FromRequestParts, Path, Query, State};
use axum::http::StatusCode;
use axum::http::header::{HeaderMap, HeaderValue, SET_COOKIE};
use axum::http::request::Parts;
use axum::response::{Html, IntoResponse as _, Redirect, Response};
use axum::routing::{get, post};
use baytrim_model::shop::TokenId;
use maud::{Markup, html};
use std::convert::Infallible;
use std::net::IpAddr;
use tonic::transport::server::TcpConnectInfo;

use super::frame;
use super::problem::Problem;
use super::signed::{self, COOKIE_NAME, cookie};
use crate::access::{Access, is_encrypted};
use crate::compute::blocking;
use crate::fault::Fault;

/// Where one signs in.
pub(super) const PATH: &str = "/sign-in";

/// Where links that sign in lead, before their code.
pub(super) const LINK_PATH: &str = crate::services::access::SIGN_IN_PATH;

/// Returns the routes of signing in and out.
pub(super) fn router(access: Access) -> Router {
    Router::new()
        .route(PATH, get(form).post(enter))
        .route("/sign-in/{code}", get(follow))
        .route("/you", get(you))
        .route(
            "/sign-out",
            post(leave).get(|| async { Redirect::to("/you") }),
        )
        .with_state(access)
}

/// Returns the path of the sign-in that leads on to `path`.
pub(super) fn path_back_to(path: &str) -> String {
    match path {
        "/" => PATH.to_owned(),
        path if is_own(path) => format!("{PATH}?to={path}"),
        _ => PATH.to_owned(),
    }
}

/// Returns whether a path is one of this page's, in letters that need no care.
fn is_own(path: &str) -> bool {
    let plain = |byte: u8| byte.is_ascii_alphanumeric() || b"/-._~".contains(&byte);
    path.starts_with('/') && !path.starts_with("//") && path.bytes().all(plain)
}

/// Where a request comes from, where the transport tells.
struct Peer {
    address: Option<IpAddr>,
    is_encrypted: bool,
}

impl<S: Sync> FromRequestParts<S> for Peer {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Infallible> {
        let info = parts.extensions.get::<TcpConnectInfo>();
        let address = info.and_then(TcpConnectInfo::remote_addr);
        Ok(Self {
            address: address.map(|address| address.ip()),
            is_encrypted: is_encrypted(&parts.extensions),
        })
    }
}

type Pairs = Vec<(String, String)>;

fn find<'a>(pairs: &'a Pairs, name: &str) -> &'a str {
    let found = pairs.iter().find(|(found, _)| found == name);
    found.map_or("", |(_, value)| value.as_str())
}

fn goal(pairs: &Pairs) -> &str {
    let to = find(pairs, "to");
    if is_own(to) { to } else { "/" }
}

async fn form(Query(asked): Query<Pairs>) -> Html<String> {
    Html(sign_in_page(goal(&asked), None).into_string())
}

async fn enter(
    State(access): State<Access>,
    peer: Peer,
    Form(fields): Form<Pairs>,
) -> Result<Response, Problem> {
    let to = goal(&fields);
    let token = find(&fields, "token").trim();
    if access.may_be_news(Some(token), peer.address) {
        let access = access.clone();
        blocking(move || Ok(access.look()?)).await?;
    }
    match access.admit(Some(token), peer.address) {
        Ok(admitted) => begin(&access, admitted.caller.token, to, &peer),
        Err(fault) => {
            let words = match fault {
                crate::fault::AccessFault::TokenNotAccepted => {
                    "That is no token that is good here. Paste the whole line of the token file."
                        .to_owned()
                }
                other => other.to_string(),
            };
            let page = sign_in_page(to, Some(&words));
            Ok((StatusCode::UNAUTHORIZED, Html(page.into_string())).into_response())
        }
    }
}

/// Signs in by a link. It works from the daemon's own machine only: that is where it was shown.
async fn follow(
    State(access): State<Access>,
    peer: Peer,
    Path(code): Path<String>,
) -> Result<Response, Problem> {
    let is_here = peer
        .address
        .is_none_or(|peer| peer.to_canonical().is_loopback());
    let token = is_here.then(|| access.sessions().follow(&code, access.now()));
    let live = |token: &TokenId| access.holder(token).is_some();
    if let Some(token) = token.flatten().filter(live) {
        return begin(&access, token, "/", &peer);
    }
    let words = "That link is void: it is good once, for five minutes, on the daemon's own machine. Make another with `baytrim sign-in`, or sign in with a token.";
    let page = sign_in_page("/", Some(words));
    Ok((StatusCode::UNAUTHORIZED, Html(page.into_string())).into_response())
}

fn begin(access: &Access, token: TokenId, to: &str, peer: &Peer) -> Result<Response, Problem> {
    let secret = access
        .sessions()
        .begin(token, access.now())
        .map_err(Fault::from)?;
    let mut answer = Redirect::to(to).into_response();
    let secure = if peer.is_encrypted { "; Secure" } else { "" };
    set_cookie(
        &mut answer,
        &format!("{COOKIE_NAME}={secret}; Path=/; HttpOnly; SameSite=Strict{secure}"),
    );
    Ok(answer)
}

async fn leave(State(access): State<Access>, headers: HeaderMap) -> Response {
    if let Some(secret) = cookie(&headers) {
        access.sessions().end(secret);
    }
    let mut answer = Redirect::to(PATH).into_response();
    set_cookie(
        &mut answer,
        &format!("{COOKIE_NAME}=; Path=/; HttpOnly; SameSite=Strict; Max-Age=0"),
    );
    answer
}

fn set_cookie(answer: &mut Response, text: &str) {
    if let Ok(value) = HeaderValue::from_str(text) {
        answer.headers_mut().append(SET_COOKIE, value);
    }
}

async fn you() -> Result<Html<String>, Problem> {
    let admitted = signed::signed_in().map_err(Fault::from)?;
    let member = &admitted.caller.member;
    let roles: Vec<&str> = member.roles.iter().map(|role| role.as_str()).collect();
    let body = html! {
        h1 { (member.name) }
        p.lead { "You are signed in. What you decide here stands in the record under this name." }
        p { "Roles: " (roles.join(", ")) "." }
        @if admitted.caller.policy.one_person {
            p { "This is a shop of one person: an owner may do everything." }
        }
        form method="post" action="/sign-out" { div.buttons { button type="submit" { "Sign out" } } }
    };
    Ok(Html(frame::page("You", &[], &body).into_string()))
}

fn sign_in_page(to: &str, problem: Option<&str>) -> Markup {
    let body = html! {
        h1 { "Sign in" }
        p.lead { "This shop asks who you are." }
        @if let Some(problem) = problem { p.problem role="alert" { (problem) } }
        form method="post" action=(PATH) {
            input type="hidden" name="to" value=(to);
            label.field {
                span { "Your token" }
                input type="password" name="token" required maxlength="200" autocomplete="current-password" spellcheck="false";
            }
            div.buttons { button.approve type="submit" { "Sign in" } }
        }
        p.quiet { "An owner of the shop issues tokens. On the daemon's own machine, `baytrim sign-in` makes a link that signs you in." }
    };
    frame::page("Sign in", &[], &body)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// If this fails, a link of another site leads through the sign-in to that other site.
    #[test]
    fn signing_in_leads_nowhere_else() {
        for bad in [
            "//example.org",
            "https://example.org",
            "/\\example.org",
            "",
            "jobs",
            "/a?b",
            "/%2f",
        ] {
            let asked = vec![("to".to_owned(), bad.to_owned())];
            assert_eq!(goal(&asked), "/", "{bad}");
        }
        let asked = vec![("to".to_owned(), "/jobs/j/proposals/c1".to_owned())];
        assert_eq!(goal(&asked), "/jobs/j/proposals/c1");
        assert_eq!(path_back_to("/jobs/j"), "/sign-in?to=/jobs/j");
        assert_eq!(path_back_to("//x"), "/sign-in");
    }
}
