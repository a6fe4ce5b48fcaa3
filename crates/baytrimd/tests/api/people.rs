//! Members of the shops within tests, and what shows who they are.

use baytrim_model::ids::Actor;
use baytrim_model::shop::{Member, Role, ShopEvent, TokenIssue};
use baytrimd::access::{Access, Token};
use baytrimd::shop::Author;

/// Returns a token that is always the same for a name, so that requests can show it without asking for it.
pub fn token_of(name: &str) -> Token {
    let letter = |byte: u8| char::from(b"abcdefghijklmnopqrstuvwxyz234567"[usize::from(byte % 32)]);
    let letters = name.bytes().chain(std::iter::repeat(b'a')).map(letter);
    let letters: String = letters.take(40).collect();
    Token::parse(&format!("baytrim_{}_{}", &letters[..8], &letters[8..])).unwrap()
}

/// Makes a member known, with the token of its name.
pub fn join(access: &Access, name: &str, roles: &[Role]) {
    let member = Member {
        name: name.parse().unwrap(),
        roles: roles.iter().copied().collect(),
        bay: None,
        answered_by: None,
    };
    let token = token_of(name);
    let issue = TokenIssue {
        id: token.id().clone(),
        member: member.name.clone(),
        sha256: token.hash(),
        expires_at: None,
    };
    record(access, &ShopEvent::MemberAdded { member });
    record(access, &ShopEvent::TokenIssued { token: issue });
}

pub fn record(access: &Access, event: &ShopEvent) {
    let author = Author {
        by: Actor("tests".to_owned()),
        request_id: None,
    };
    access.record(&author, |_| Ok(event.clone())).unwrap();
}
