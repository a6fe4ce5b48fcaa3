//! What every call of the API passes before anything of it is read.

use std::net::IpAddr;

use axum::extract::{Request, State};
use axum::http::HeaderMap;
use axum::http::header::AUTHORIZATION;
use axum::middleware::Next;
use axum::response::Response;
use baytrim_jobs::Refusal;
use tonic::transport::server::TcpConnectInfo;

use super::{ACTOR_KEY, Access, Admitted};
use crate::compute::blocking;
use crate::fault::{AccessFault, Fault};
use crate::status;

/// Services that answer anybody: whether the daemon serves, and what its public API looks like.
const OPEN: [&str; 2] = [
    "/grpc.health.v1.Health/",
    "/grpc.reflection.v1.ServerReflection/",
];

/// Path of every method of the API, before `Service/Method`.
const PACKAGE: &str = "/baytrim.v1.";

/// Lets a call of the API through where its token's member may make it.
pub async fn gate(State(access): State<Access>, mut request: Request, next: Next) -> Response {
    let path = request.uri().path();
    if OPEN.iter().any(|open| path.starts_with(open)) {
        return next.run(request).await;
    }
    let method = path.strip_prefix(PACKAGE).unwrap_or_default();
    if access.may_be_news(shown(request.headers()), peer(&request)) {
        let access = access.clone();
        if let Err(fault) = blocking(move || Ok(access.refresh()?)).await {
            return status::of(&fault).into_http();
        }
    }
    let checked = admit(&access, request.headers(), peer(&request), method);
    match checked {
        Ok(admitted) => {
            let actor = admitted.caller.member.name.actor();
            request.extensions_mut().insert(actor);
            request.extensions_mut().insert(admitted);
            next.run(request).await
        }
        Err(fault) => status::of(&fault).into_http(),
    }
}

/// Returns the address that a request comes from, where the transport tells.
pub(crate) fn peer(request: &Request) -> Option<IpAddr> {
    let info = request.extensions().get::<TcpConnectInfo>();
    info.and_then(TcpConnectInfo::remote_addr)
        .map(|address| address.ip())
}

fn admit(
    access: &Access,
    headers: &HeaderMap,
    peer: Option<IpAddr>,
    method: &str,
) -> Result<Admitted, Fault> {
    let admitted = access.admit(shown(headers), peer)?;
    admitted.check(method)?;
    check_name(headers, &admitted)?;
    Ok(admitted)
}

/// Returns the token that a request shows.
fn shown(headers: &HeaderMap) -> Option<&str> {
    let header = headers
        .get(AUTHORIZATION)
        .and_then(|value| value.to_str().ok());
    header
        .and_then(|text| text.strip_prefix("Bearer "))
        .map(str::trim)
}

/// A caller that takes itself for somebody else has taken the wrong token: better told now than found in the record.
fn check_name(headers: &HeaderMap, admitted: &Admitted) -> Result<(), Fault> {
    let Some(value) = headers.get(ACTOR_KEY) else {
        return Ok(());
    };
    let text = value.to_str().map_err(|_| {
        Refusal::field(
            ACTOR_KEY,
            "is no name",
            "leave it out: the token says who asks",
        )
    })?;
    if admitted.is_called(text) {
        return Ok(());
    }
    let member = admitted.caller.member.name.to_string();
    Err(AccessFault::OtherName { member }.into())
}
