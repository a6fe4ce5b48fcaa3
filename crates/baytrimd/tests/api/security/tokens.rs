//! Every method of the API with tokens that are not good.

use std::collections::BTreeMap;

use baytrim_model::ids::{Actor, UnixMillis};
use baytrim_model::shop::{Role, ShopEvent, TokenIssue};
use baytrimd::access::{Access, Token};
use baytrimd::shop::Author;
use tonic::Status;

use super::wire::{Api, call};
use crate::access::shop_of_four;
use crate::harness::{join, record, token_of, told};

fn issued(access: &Access, member: &str, expires_at: Option<UnixMillis>) -> Token {
    let token = Token::make().unwrap();
    let issue = TokenIssue {
        id: token.id().clone(),
        member: member.parse().unwrap(),
        sha256: token.hash(),
        expires_at,
    };
    record(access, &ShopEvent::TokenIssued { token: issue });
    token
}

/// Tokens that were good once, with what their holders are told.
fn spent(access: &Access) -> Vec<(&'static str, String, &'static str)> {
    let author = Author {
        by: Actor("tests".to_owned()),
        request_id: None,
    };
    let past = UnixMillis(access.now().0 - 1);
    let expired = issued(access, "owner", Some(past));
    let revoked = issued(access, "owner", None);
    let revoke = |state: &baytrim_access::ShopState| {
        baytrim_access::decide::revoke_token(state, revoked.id(), "lost")
    };
    access.record(&author, revoke).unwrap();
    for name in ["left", "left too"] {
        join(access, name, &Role::ALL);
    }
    let of_removed = issued(access, "left", None);
    for name in ["left", "left too"] {
        let remove = |state: &baytrim_access::ShopState| {
            baytrim_access::decide::remove_member(state, &name.parse().unwrap(), "left the shop")
        };
        access.record(&author, remove).unwrap();
    }
    let void = "Unauthenticated TOKEN_REVOKED";
    vec![
        (
            "expired",
            expired.text().to_owned(),
            "Unauthenticated TOKEN_EXPIRED",
        ),
        ("revoked", revoked.text().to_owned(), void),
        (
            "of a member that was removed",
            of_removed.text().to_owned(),
            void,
        ),
        (
            "first of a member that was removed",
            token_of("left too").text().to_owned(),
            void,
        ),
    ]
}

/// Texts that were never a token, made from one that is good.
fn forged(good: &Token) -> Vec<(&'static str, String)> {
    let text = good.text();
    let (id, secret) = text.rsplit_once('_').unwrap();
    let unknown = Token::make().unwrap();
    let (unknown_id, _) = unknown.text().rsplit_once('_').unwrap();
    let turned: String = secret.chars().rev().collect();
    vec![
        ("empty", String::new()),
        ("of somebody unknown", unknown.text().to_owned()),
        ("with another secret", format!("{id}_{turned}")),
        ("with another name", format!("{unknown_id}_{secret}")),
        ("cut by a letter", text[..text.len() - 1].to_owned()),
        ("cut to its name", id.to_owned()),
        ("with a letter more", format!("{text}a")),
        ("twice", format!("{text}{text}")),
        ("in capitals", text.to_uppercase()),
        (
            "its hash",
            good.hash()
                .0
                .iter()
                .fold(String::new(), |hex, byte| hex + &format!("{byte:02x}")),
        ),
    ]
}

/// If this fails, some method can be called with a token that is none any more, or never was.
#[tokio::test]
async fn every_method_against_every_bad_token() {
    let (daemon, access) = shop_of_four().await;
    let api = Api::read();
    let spent = spent(&access);
    let mut seen = BTreeMap::<String, u32>::new();
    let mut count = |result: Result<(), Status>, method: &str, what: &str| {
        let told = told(result);
        *seen.entry(told.clone()).or_default() += 1;
        (told, format!("{method}, {what}"))
    };
    for method in &api.methods {
        for (what, token, expected) in &spent {
            let result = call(&daemon.channel, &method.name, Some(token), Vec::new()).await;
            let (told, place) = count(result, &method.name, what);
            assert_eq!(told, *expected, "{place}");
        }
    }
    // Guesses are slowed down after ten: either answer, and nothing else.
    let forged = forged(&issued(&access, "owner", None));
    for method in &api.methods {
        for (what, token) in &forged {
            let result = call(&daemon.channel, &method.name, Some(token), Vec::new()).await;
            let (told, place) = count(result, &method.name, what);
            let closed = [
                "Unauthenticated TOKEN_NOT_ACCEPTED",
                "ResourceExhausted TOO_MANY_ATTEMPTS",
            ];
            assert!(closed.contains(&told.as_str()), "{place}: {told}");
        }
        let (told, place) = count(
            call(&daemon.channel, &method.name, None, Vec::new()).await,
            &method.name,
            "none",
        );
        assert_eq!(told, "Unauthenticated TOKEN_NOT_ACCEPTED", "{place}");
    }
    let tried: u32 = seen.values().sum();
    let kinds = spent.len() + forged.len() + 1;
    println!(
        "{} methods x {kinds} bad tokens: {tried} calls, {seen:?}",
        api.methods.len()
    );
    assert_eq!(tried as usize, api.methods.len() * kinds);
    daemon.stop().await;
}

/// If this fails, a token in another header, under another scheme, or beside another one, is taken.
#[tokio::test]
async fn a_token_is_shown_in_one_way() {
    let (daemon, _access) = shop_of_four().await;
    let good = token_of("owner");
    let good = good.text();
    for (key, value) in [
        ("authorization", good.to_owned()),
        ("authorization", format!("bearer {good}")),
        ("authorization", format!("Basic {good}")),
        ("authorization", format!("Bearer Bearer {good}")),
        ("proxy-authorization", format!("Bearer {good}")),
        ("cookie", format!("baytrim-session={good}")),
        ("x-authorization", format!("Bearer {good}")),
    ] {
        let mut client = baytrim_api::v1::access_service_client::AccessServiceClient::new(
            daemon.channel.clone(),
        );
        let mut request = tonic::Request::new(baytrim_api::v1::GetCallerRequest {});
        request.metadata_mut().insert(key, value.parse().unwrap());
        let told = told(client.get_caller(request).await);
        assert_eq!(told, "Unauthenticated TOKEN_NOT_ACCEPTED", "{key}: {value}");
    }
    daemon.stop().await;
}
