//! Who is let in, and to what.

use std::collections::BTreeSet;
use std::sync::Arc;

use baytrim_access::roles;
use baytrim_api::v1::GetCallerRequest;
use baytrim_ledger::{MemoryStore, Store};
use baytrim_model::ids::UnixMillis;
use baytrim_model::shop::{Policy, Role, ShopEvent, TokenIssue};
use baytrimd::access::{ATTEMPTS_MAX, Access, Token, found};
use baytrimd::config::ServiceLimits;
use baytrimd::fault::AccessFault;
use prost::Message as _;
use prost_types::FileDescriptorSet;
use tokio::time::Instant;
use tonic::codegen::http::uri::PathAndQuery;
use tonic::{Code, Request, Status};

use crate::harness::{Daemon, join, record, token_of, told, with_token};

/// A shop with one member for each role, named like it.
pub async fn shop_of_four() -> (Daemon, Access) {
    let store: Arc<dyn Store> = Arc::new(MemoryStore::new());
    let access = Access::open(Arc::clone(&store), None).unwrap();
    for role in Role::ALL {
        join(&access, role.as_str(), &[role]);
    }
    let daemon = Daemon::guarded(store, ServiceLimits::default(), access.clone()).await;
    (daemon, access)
}

fn methods() -> BTreeSet<String> {
    let set = FileDescriptorSet::decode(baytrim_api::DESCRIPTORS).unwrap();
    let own = set
        .file
        .iter()
        .filter(|file| file.package() == "baytrim.v1");
    let mut methods = BTreeSet::new();
    for service in own.flat_map(|file| &file.service) {
        let of_service = service.method.iter();
        methods.extend(of_service.map(|method| format!("{}/{}", service.name(), method.name())));
    }
    methods
}

/// Calls a method with an empty message, as a stream of one, and returns how it ended.
async fn call(daemon: &Daemon, method: &str, token: Option<&str>) -> Result<(), Status> {
    let mut grpc = tonic::client::Grpc::new(daemon.channel.clone());
    grpc.ready().await.unwrap();
    let path: PathAndQuery = format!("/baytrim.v1.{method}").parse().unwrap();
    let codec = tonic_prost::ProstCodec::<GetCallerRequest, GetCallerRequest>::default();
    let message = tokio_stream::iter([GetCallerRequest {}]);
    let request = match token {
        Some(token) => with_token(token, message),
        None => Request::new(message),
    };
    let answer = grpc.streaming(request, path, codec).await?;
    // Whatever comes, or that nothing does, is an answer to somebody who was let in.
    let mut answers = answer.into_inner();
    let first = answers.message();
    match tokio::time::timeout(std::time::Duration::from_secs(5), first).await {
        Ok(Err(status)) => Err(status),
        Ok(Ok(_)) | Err(_) => Ok(()),
    }
}

fn was_let_in(result: &Result<(), Status>) -> bool {
    let closed = [Code::PermissionDenied, Code::Unauthenticated];
    result
        .as_ref()
        .err()
        .is_none_or(|status| !closed.contains(&status.code()))
}

/// If this fails, some method can be called without a token, or by a role that has no business with it.
#[tokio::test]
async fn every_method_against_every_role() {
    let (daemon, access) = shop_of_four().await;
    let methods = methods();
    let mut checked = 0;
    for one_person in [false, true] {
        let policy = Policy {
            one_person,
            ..Policy::default()
        };
        record(
            &access,
            &ShopEvent::PolicySet {
                policy,
                reason: "tests".to_owned(),
            },
        );
        for method in &methods {
            for role in Role::ALL {
                let result = call(&daemon, method, Some(token_of(role.as_str()).text())).await;
                let row = roles::find(method).unwrap();
                let is_meant = row.roles.contains(&role) || (one_person && role == Role::Owner);
                assert_eq!(
                    was_let_in(&result),
                    is_meant,
                    "{method} by {role}: {result:?}"
                );
                if !is_meant {
                    assert_eq!(
                        told(result),
                        "PermissionDenied NOT_PERMITTED",
                        "{method} by {role}"
                    );
                }
                checked += 1;
            }
        }
    }
    for method in &methods {
        let without = call(&daemon, method, None).await;
        assert_eq!(
            told(without),
            "Unauthenticated TOKEN_NOT_ACCEPTED",
            "{method}"
        );
        checked += 1;
    }
    println!(
        "{} methods, {checked} pairs of method and caller",
        methods.len()
    );
    assert_eq!(checked, methods.len() * 9);
    daemon.stop().await;
}

/// If this fails, a method that the table does not name can be called, or a row names a method that there isn't.
#[tokio::test]
async fn the_table_and_the_api_name_the_same_methods() {
    let (daemon, _access) = shop_of_four().await;
    let methods = methods();
    for row in roles::ROWS {
        let known = methods.contains(row.method) || row.method == "ReviewService/CreateComment";
        assert!(known, "{} is no method", row.method);
    }
    for method in [
        "JobService/ForgetJob",
        "JobService/../JobService/GetJob",
        "JobService/",
        "JobService/GetJob/",
    ] {
        for role in Role::ALL {
            let denied = call(&daemon, method, Some(token_of(role.as_str()).text())).await;
            assert!(
                matches!(
                    denied.unwrap_err().code(),
                    Code::PermissionDenied | Code::Unimplemented
                ),
                "{method}"
            );
        }
    }
    daemon.stop().await;
}

/// If this fails, an answer tells who has no token whether it was near, or what there is.
#[tokio::test]
async fn wrong_tokens_learn_nothing() {
    let (daemon, access) = shop_of_four().await;
    let good = token_of("owner");
    let good = good.text();
    let mut other_secret = good.to_owned();
    other_secret.pop();
    other_secret.push('z');
    let unknown = Token::make().unwrap();
    let mut told_of = BTreeSet::new();
    // In the program itself, so that the address is not held against the later ones.
    let mut wrong = vec![
        String::new(),
        "x".repeat(4000),
        other_secret,
        unknown.text().to_owned(),
        format!("{good}{good}"),
    ];
    wrong.extend((0..good.len()).map(|length| good[..length].to_owned()));
    for token in &wrong {
        assert_eq!(
            access.admit(Some(token), None).unwrap_err(),
            AccessFault::TokenNotAccepted,
            "{token}"
        );
    }
    for token in wrong.iter().skip(2).take(3) {
        let status = call(&daemon, "JobService/GetJob", Some(token))
            .await
            .unwrap_err();
        told_of.insert(format!("{status:?}").replace(&format!("{:?}", status.metadata()), ""));
    }
    told_of.insert({
        let status = call(&daemon, "JobService/GetJob", None).await.unwrap_err();
        format!("{status:?}").replace(&format!("{:?}", status.metadata()), "")
    });
    assert_eq!(told_of.len(), 1, "{told_of:#?}");
    call(&daemon, "JobService/GetJob", Some(good))
        .await
        .unwrap_err();
    println!("{} wrong tokens, one answer", wrong.len());
    daemon.stop().await;
}

/// If this fails, a token is good after its time, or becomes good again when the clock is set back.
#[tokio::test]
async fn tokens_expire_and_stay_expired() {
    let store: Arc<dyn Store> = Arc::new(MemoryStore::new());
    let access = Access::open(Arc::clone(&store), None).unwrap();
    found(&access, &token_of("owner"), &[Role::Owner]).unwrap();
    let until = UnixMillis(access.now().0 + 1_000_000);
    let token = Token::make().unwrap();
    let issue = TokenIssue {
        id: token.id().clone(),
        member: "owner".parse().unwrap(),
        sha256: token.hash(),
        expires_at: Some(until),
    };
    record(&access, &ShopEvent::TokenIssued { token: issue });
    let shown = |access: &Access, at: i64| {
        access
            .admit_at(Some(token.text()), None, UnixMillis(at))
            .map(|_| ())
    };
    assert_eq!(shown(&access, until.0 - 1), Ok(()));
    assert_eq!(shown(&access, until.0), Err(AccessFault::TokenExpired));
    // Set back by an hour while serving.
    assert_eq!(
        shown(&access, until.0 - 3_600_000),
        Err(AccessFault::TokenExpired)
    );
    // Set back before the last record, then started again: the record's time is the earliest that it can be.
    let again = Access::open(Arc::clone(&store), None).unwrap();
    assert!(
        again
            .admit_at(Some(token.text()), None, UnixMillis(0))
            .is_ok()
    );
    assert!(again.now() >= again.state().latest_at().unwrap());
}

/// If this fails, somebody may guess tokens as fast as the network carries them, or locks everybody else out.
#[tokio::test]
async fn guessing_is_slowed_down() {
    let (daemon, _access) = shop_of_four().await;
    call(
        &daemon,
        "JobService/ListJobs",
        Some(token_of("tuner").text()),
    )
    .await
    .unwrap();
    let began = Instant::now();
    let (mut looked_at, mut turned_away) = (0, 0);
    while turned_away < 50 {
        let guess = Token::make().unwrap();
        let status = call(&daemon, "JobService/ListJobs", Some(guess.text()))
            .await
            .unwrap_err();
        match told::<()>(Err(status)).as_str() {
            "Unauthenticated TOKEN_NOT_ACCEPTED" => looked_at += 1,
            "ResourceExhausted TOO_MANY_ATTEMPTS" => turned_away += 1,
            other => panic!("{other}"),
        }
    }
    // One is forgiven every six seconds.
    let forgiven = u32::try_from(began.elapsed().as_secs() / 6 + 1).unwrap();
    println!("{looked_at} guesses were looked at, then {turned_away} turned away");
    assert!(
        (ATTEMPTS_MAX..=ATTEMPTS_MAX + forgiven).contains(&looked_at),
        "{looked_at}"
    );
    // Who was known before is still let in from that address; who was not, is not.
    call(
        &daemon,
        "JobService/ListJobs",
        Some(token_of("tuner").text()),
    )
    .await
    .unwrap();
    let late = call(
        &daemon,
        "JobService/ListJobs",
        Some(token_of("reviewer").text()),
    )
    .await;
    assert_eq!(told(late), "ResourceExhausted TOO_MANY_ATTEMPTS");
    daemon.stop().await;
}
