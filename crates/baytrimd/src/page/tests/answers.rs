//! What is answered where no page is.

use axum::body::Body;
use axum::extract::Request;
use axum::http::StatusCode;

use crate::page::{guard, nowhere};

fn request(path: &str, kind: &str) -> Request {
    let request = Request::get(path)
        .header("host", "127.0.0.1:7411")
        .header("content-type", kind);
    request.body(Body::empty()).expect("a request")
}

/// If this fails, a browser sees a blank screen, or a gRPC client takes a web page for an answer.
#[tokio::test]
async fn who_asks_for_nothing_is_told_in_their_own_way() {
    let browser = nowhere(request("/nothing", "text/html")).await;
    assert_eq!(browser.status(), StatusCode::NOT_FOUND);
    assert_eq!(browser.headers()["content-security-policy"], guard::POLICY);
    let client = nowhere(request("/baytrim.v1.Nothing/Do", "application/grpc")).await;
    assert_eq!(client.status(), StatusCode::OK);
    // UNIMPLEMENTED, by the list of gRPC status codes.
    assert_eq!(client.headers()["grpc-status"], "12");
}
