//! What every call of the API passes before anything of it is read.

use std::net::IpAddr;

use axum::extract::{Request, State};
use axum::http::header::AUTHORIZATION;
use axum::http::{Extensions, HeaderMap};
use axum::middleware::Next;
use axum::response::Response;
use baytrim_jobs::Refusal;
use baytrim_model::shop::Role;
use tonic::transport::server::{TcpConnectInfo, TlsConnectInfo};

use super::{ACTOR_KEY, Access, Admitted, Standing};
use crate::compute::blocking;
use crate::fault::{AccessFault, Fault};
use crate::status;
use crate::tls::{self, Shown};

/// Services that answer anybody: whether the daemon serves, and what its public API looks like.
const OPEN: [&str; 2] = [
    "/grpc.health.v1.Health/",
    "/grpc.reflection.v1.ServerReflection/",
];

/// Path of every method of the API, before `Service/Method`.
const PACKAGE: &str = "/baytrim.v1.";

/// What stands at the gate.
#[derive(Debug, Clone)]
pub struct Door {
    /// Who may call.
    pub access: Access,
    /// Whether bays show certificates of their own beside their tokens.
    pub bays_show_certificates: bool,
}

/// Lets a call of the API through where its token's member may make it.
pub async fn gate(State(door): State<Door>, mut request: Request, next: Next) -> Response {
    let path = request.uri().path();
    if OPEN.iter().any(|open| path.starts_with(open)) {
        return next.run(request).await;
    }
    let method = path.strip_prefix(PACKAGE).unwrap_or_default().to_owned();
    if door
        .access
        .may_be_news(token(request.headers()), peer(&request))
    {
        let access = door.access.clone();
        if let Err(fault) = blocking(move || Ok(access.look()?)).await {
            return status::of(&fault).into_http();
        }
    }
    let checked = admit(&door, &request, &method);
    match checked {
        Ok(admitted) => {
            let actor = admitted.caller.member.name.actor();
            request.extensions_mut().insert(actor);
            let standing = Standing::new(door.access.clone(), admitted.clone(), &method);
            request.extensions_mut().insert(standing);
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

/// Returns the certificates that a connection showed, the caller's own first, where the transport found them good.
fn shown(request: &Request) -> Option<Shown> {
    let info = request.extensions().get::<TlsConnectInfo<TcpConnectInfo>>();
    info.and_then(TlsConnectInfo::peer_certs)
}

/// Returns whether a request came encrypted.
pub(crate) fn is_encrypted(extensions: &Extensions) -> bool {
    let info = extensions.get::<TlsConnectInfo<TcpConnectInfo>>();
    info.is_some()
}

fn admit(door: &Door, request: &Request, method: &str) -> Result<Admitted, Fault> {
    let headers = request.headers();
    let admitted = door.access.admit(token(headers), peer(request))?;
    if door.bays_show_certificates {
        check_certificate(&admitted, shown(request).as_ref())?;
    }
    admitted.check(method)?;
    check_name(headers, &admitted)?;
    Ok(admitted)
}

/// Returns the token that a request shows.
fn token(headers: &HeaderMap) -> Option<&str> {
    let header = headers
        .get(AUTHORIZATION)
        .and_then(|value| value.to_str().ok());
    header
        .and_then(|text| text.strip_prefix("Bearer "))
        .map(str::trim)
}

/// A bay's token alone opens nothing where bays have certificates: whoever copied it lacks the key.
fn check_certificate(admitted: &Admitted, shown: Option<&Shown>) -> Result<(), AccessFault> {
    let member = &admitted.caller.member;
    if !member.roles.contains(&Role::Bay) {
        return Ok(());
    }
    let own = shown.and_then(|shown| shown.first());
    if own.is_some_and(|own| tls::is_of(own, &member.name)) {
        return Ok(());
    }
    Err(AccessFault::CertificateNeeded {
        member: member.name.to_string(),
    })
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
