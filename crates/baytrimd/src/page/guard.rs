//! What keeps other sites out: headers on every answer, and a look at where a request comes from.

use std::net::IpAddr;

use axum::extract::Request;
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, HOST, HeaderMap, HeaderName, HeaderValue, ORIGIN,
    REFERRER_POLICY, X_CONTENT_TYPE_OPTIONS,
};
use axum::http::{Method, Uri};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::problem::Problem;
use crate::access::is_encrypted;

/// Nothing but this page's own style sheet, script, pictures and forms; nobody may frame it.
pub(super) const POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; connect-src 'self'; \
     form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// Answers only what was asked by this page itself or by a person, with the headers that keep it so.
pub(super) async fn guard(request: Request, next: Next) -> Response {
    let host = host(request.uri(), request.headers());
    // Over TLS the browser has checked the name against the certificate: no other site's leads here.
    let is_proven = is_encrypted(request.extensions());
    let checked = check(
        request.method(),
        host.as_deref().filter(|host| is_proven || is_plain(host)),
        request.headers(),
    );
    sealed(match checked {
        Ok(()) => next.run(request).await,
        Err(words) => Problem::forbidden(words).into_response(),
    })
}

/// Returns an answer with the headers that keep other sites out of it.
pub(super) fn sealed(mut response: Response) -> Response {
    let headers = response.headers_mut();
    let always = [
        (CONTENT_SECURITY_POLICY, POLICY),
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (REFERRER_POLICY, "same-origin"),
        (
            HeaderName::from_static("cross-origin-opener-policy"),
            "same-origin",
        ),
        (
            HeaderName::from_static("cross-origin-resource-policy"),
            "same-origin",
        ),
    ];
    for (name, value) in always {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers
        .entry(CACHE_CONTROL)
        .or_insert(HeaderValue::from_static("private, no-cache"));
    response
}

fn host(uri: &Uri, headers: &HeaderMap) -> Option<String> {
    let authority = uri
        .authority()
        .map(|authority| authority.as_str().to_owned());
    authority.or_else(|| {
        headers
            .get(HOST)
            .and_then(|host| host.to_str().ok())
            .map(str::to_owned)
    })
}

/// Returns why a request is not answered, in words; `host` is none where its name may be a trick.
///
/// A name of another site that was made to lead here (DNS rebinding) needs a name: addresses in
/// numbers and `localhost` are safe. A form of another site shows itself by `Origin` or `Sec-Fetch-Site`.
fn check(method: &Method, host: Option<&str>, headers: &HeaderMap) -> Result<(), String> {
    let Some(host) = host else {
        return Err("Open the page by its address in numbers or as localhost: another name may be another site's trick.".to_owned());
    };
    if matches!(*method, Method::GET | Method::HEAD) {
        return Ok(());
    }
    let text = |name: &str| {
        headers
            .get(name)
            .map(|value| value.to_str().unwrap_or("unreadable"))
    };
    let own = [format!("http://{host}"), format!("https://{host}")];
    let origin = text(ORIGIN.as_str()).map(|origin| own.iter().any(|own| own == origin));
    let fetch = text("sec-fetch-site").map(|site| site == "same-origin");
    match (origin, fetch) {
        (Some(false), _) | (_, Some(false)) => {
            Err("The form came from another site. Open the proposal here and decide here.".to_owned())
        }
        (None, None) => Err("The browser did not say where the form came from. From a script, use the API or the command line.".to_owned()),
        _ => Ok(()),
    }
}

/// Returns whether a host, with or without a port, is `localhost` or an address in numbers.
fn is_plain(host: &str) -> bool {
    let name = match host.rsplit_once(':') {
        Some((name, port))
            if port.bytes().all(|byte| byte.is_ascii_digit()) && !name.ends_with(':') =>
        {
            name
        }
        _ => host,
    };
    let bare = name
        .strip_prefix('[')
        .and_then(|name| name.strip_suffix(']'))
        .unwrap_or(name);
    bare.eq_ignore_ascii_case("localhost") || bare.parse::<IpAddr>().is_ok()
}

#[cfg(test)]
mod tests {
    use axum::http::{HeaderMap, HeaderName, HeaderValue, Method};

    use super::{check, is_plain};

    fn headers(pairs: &[(&'static str, &'static str)]) -> HeaderMap {
        let pairs = pairs.iter().map(|&(name, value)| {
            (
                HeaderName::from_static(name),
                HeaderValue::from_static(value),
            )
        });
        pairs.collect()
    }

    /// If this fails, a name that another site made lead here is answered.
    #[test]
    fn only_plain_hosts_are_answered() {
        for host in [
            "localhost",
            "localhost:7411",
            "127.0.0.1:7411",
            "192.168.1.20:7411",
            "[::1]:7411",
            "[::1]",
        ] {
            assert!(is_plain(host), "{host}");
        }
        for host in [
            "example.org",
            "example.org:7411",
            "127.0.0.1.example.org",
            "",
            ":7411",
        ] {
            assert!(!is_plain(host), "{host}");
        }
        assert!(check(&Method::GET, None, &HeaderMap::new()).is_err());
        assert!(check(&Method::GET, Some("127.0.0.1:7411"), &HeaderMap::new()).is_ok());
    }

    /// If this fails, a form on another site can approve a proposal through a reviewer's browser.
    #[test]
    fn forms_of_other_sites_are_refused() {
        let host = Some("127.0.0.1:7411");
        let post =
            |pairs: &[(&'static str, &'static str)]| check(&Method::POST, host, &headers(pairs));
        assert!(
            post(&[
                ("origin", "http://127.0.0.1:7411"),
                ("sec-fetch-site", "same-origin")
            ])
            .is_ok()
        );
        assert!(post(&[("origin", "http://127.0.0.1:7411")]).is_ok());
        assert!(post(&[("sec-fetch-site", "same-origin")]).is_ok());
        assert!(post(&[]).is_err());
        assert!(post(&[("origin", "null")]).is_err());
        assert!(post(&[("origin", "http://127.0.0.1:9999")]).is_err());
        assert!(
            post(&[
                ("origin", "http://127.0.0.1:7411"),
                ("sec-fetch-site", "cross-site")
            ])
            .is_err()
        );
        assert!(post(&[("sec-fetch-site", "same-site")]).is_err());
    }
}
