//! Signing in to the review page.

use baytrim_api::v1::{CreateSignInRequest, RevokeTokenRequest};
use baytrim_ledger::{MemoryStore, Store};
use baytrim_model::shop::Role;
use baytrimd::access::{ATTEMPTS_MAX, Access};
use baytrimd::config::ServiceLimits;
use std::sync::Arc;

use crate::harness::{Daemon, inner, join, token_of};
use crate::hostile::{get, post};

const OWN: &str = "http://localhost";

async fn shop() -> Daemon {
    let store: Arc<dyn Store> = Arc::new(MemoryStore::new());
    let access = Access::open(Arc::clone(&store), None).unwrap();
    for role in Role::ALL {
        join(&access, role.as_str(), &[role]);
    }
    Daemon::guarded(store, ServiceLimits::default(), access).await
}

/// Returns the cookie of an answer that signs in.
fn cookie(answer: &str) -> String {
    let line = answer.lines().find(|line| line.starts_with("set-cookie: "));
    let line = line.unwrap_or_else(|| panic!("no cookie: {answer}"));
    assert!(
        line.contains("HttpOnly") && line.contains("SameSite=Strict"),
        "{line}"
    );
    let value = line.trim_start_matches("set-cookie: ");
    value.split(';').next().unwrap().to_owned()
}

async fn sign_in(daemon: &Daemon, name: &str) -> String {
    let form = format!("to=/&token={}", token_of(name).text());
    cookie(&post(daemon, "/sign-in", "", OWN, &form).await)
}

/// If this fails, the page shows jobs to whoever opens it, or does not let in who has a token.
#[tokio::test]
async fn the_page_asks_who_reads() {
    let daemon = shop().await;
    for path in [
        "/",
        "/jobs/quoll-1",
        "/you",
        "/jobs/quoll-1/proposals/c1/approve",
    ] {
        let answer = get(&daemon, path, "").await;
        assert!(
            answer.starts_with("HTTP/1.1 303") && answer.contains("location: /sign-in"),
            "{path}: {answer}"
        );
    }
    let cookie = sign_in(&daemon, "tuner").await;
    let page = get(&daemon, "/you", &cookie).await;
    assert!(
        page.starts_with("HTTP/1.1 200") && page.contains("tuner"),
        "{page}"
    );
    assert!(
        page.contains("content-security-policy: default-src 'none'"),
        "{page}"
    );
    assert!(get(&daemon, "/", &cookie).await.starts_with("HTTP/1.1 200"));
    assert!(
        post(&daemon, "/sign-out", &cookie, OWN, "")
            .await
            .starts_with("HTTP/1.1 303")
    );
    assert!(get(&daemon, "/", &cookie).await.starts_with("HTTP/1.1 303"));
    daemon.stop().await;
}

/// If this fails, somebody gives a verdict on the page who may not give it over the API.
#[tokio::test]
async fn the_page_asks_for_the_same_roles() {
    let daemon = shop().await;
    let path = "/jobs/quoll-1/proposals/c1/approve";
    let tuner = sign_in(&daemon, "tuner").await;
    assert!(
        post(&daemon, path, &tuner, OWN, "")
            .await
            .starts_with("HTTP/1.1 403")
    );
    let bay = sign_in(&daemon, "bay").await;
    assert!(get(&daemon, "/", &bay).await.starts_with("HTTP/1.1 403"));
    // There is no such job: whoever may decide is told so.
    let reviewer = sign_in(&daemon, "reviewer").await;
    assert!(
        post(&daemon, path, &reviewer, OWN, "")
            .await
            .starts_with("HTTP/1.1 404")
    );
    assert!(
        post(&daemon, path, &reviewer, "http://example.org", "")
            .await
            .starts_with("HTTP/1.1 403")
    );
    assert!(
        post(&daemon, path, "", OWN, "")
            .await
            .starts_with("HTTP/1.1 401")
    );
    daemon.stop().await;
}

/// If this fails, a link signs in twice, or a token that was revoked stays signed in.
#[tokio::test]
async fn links_sign_in_once_and_end_with_their_token() {
    let daemon = shop().await;
    let mut reviewer = daemon.access(token_of("reviewer").text());
    let path = inner(
        reviewer
            .create_sign_in(CreateSignInRequest {})
            .await
            .unwrap(),
    )
    .path;
    let answer = get(&daemon, &path, "").await;
    let cookie = cookie(&answer);
    assert!(get(&daemon, &path, "").await.starts_with("HTTP/1.1 401"));
    assert!(get(&daemon, "/", &cookie).await.starts_with("HTTP/1.1 200"));
    let revoke = RevokeTokenRequest {
        token_id: token_of("reviewer").id().to_string(),
        reason: "tablet lost".to_owned(),
        ..RevokeTokenRequest::default()
    };
    daemon
        .access(token_of("owner").text())
        .revoke_token(revoke)
        .await
        .unwrap();
    assert!(get(&daemon, "/", &cookie).await.starts_with("HTTP/1.1 303"));
    daemon.stop().await;
}

/// If this fails, tokens are guessed through the form although the API slows guessing down.
#[tokio::test]
async fn the_form_is_slowed_down_too() {
    let daemon = shop().await;
    let mut refused = 0;
    for _ in 0..ATTEMPTS_MAX + 5 {
        let answer = post(&daemon, "/sign-in", "", OWN, "to=/&token=wrong").await;
        assert!(answer.starts_with("HTTP/1.1 401"), "{answer}");
        refused += u32::from(answer.contains("too many wrong tokens"));
    }
    assert!((1..=5).contains(&refused), "{refused}");
    daemon.stop().await;
}
