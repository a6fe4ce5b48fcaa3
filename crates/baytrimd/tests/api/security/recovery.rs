//! An owner's token that is lost.

use std::path::Path;
use std::process::{Command, Output};
use std::sync::Arc;

use baytrim_ledger::Store;
use baytrim_ledger_local::{LocalStore, Options};
use baytrim_model::shop::{Role, ShopEvent};
use baytrimd::access::{Access, OWNER_FILE, SHOP_STREAM, establish};
use baytrimd::fault::AccessFault;

use super::tls_house::word;
use crate::harness::{join, token_of};

fn recover(data: &Path, words: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_baytrimd"));
    command.args(["owner", "recover", "--data", word(data)]);
    command.args(words).env_clear().output().unwrap()
}

fn told(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

fn store(data: &Path) -> Arc<dyn Store> {
    Arc::new(LocalStore::open(data, &Options::default()).unwrap().0)
}

fn token(data: &Path) -> String {
    let text = std::fs::read_to_string(data.join(OWNER_FILE)).unwrap();
    text.trim().to_owned()
}

/// If this fails, a shop whose owner lost the token is locked out for good, or whoever finds the lost one is let in,
/// or nobody can tell from the record that this was done.
#[test]
fn an_owner_is_let_in_again_and_the_record_says_so() {
    let directory = tempfile::tempdir().unwrap();
    let data = directory.path().join("ledger");
    let access = Access::open(store(&data), Some(&data)).unwrap();
    establish(&access, &data).unwrap();
    join(&access, "R. Quenby", &[Role::Reviewer]);
    let lost = token(&data);
    let reason = ["--reason", "the laptop was stolen"];
    let serving = recover(&data, &reason);
    assert!(
        !serving.status.success(),
        "it works on a ledger that is open"
    );
    assert!(told(&serving).contains("stop"), "{}", told(&serving));
    drop(access);
    std::fs::remove_file(data.join(OWNER_FILE)).unwrap();
    let output = recover(&data, &reason);
    assert!(output.status.success(), "{}", told(&output));
    let said = String::from_utf8(output.stdout).unwrap();
    let new = token(&data);
    assert!(said.contains(OWNER_FILE) && !said.contains(&new), "{said}");
    let access = Access::open(store(&data), Some(&data)).unwrap();
    let admitted = access.admit(Some(&new), None).unwrap();
    assert_eq!(admitted.caller.member.name.as_str(), "owner");
    assert!(admitted.caller.roles().contains(&Role::Owner));
    assert_eq!(
        access.admit(Some(&lost), None).unwrap_err(),
        AccessFault::TokenRevoked
    );
    let others = access.admit(Some(token_of("R. Quenby").text()), None);
    assert!(others.is_ok(), "another member's token was made void");
    drop(access);
    let name = baytrim_ledger::StreamName::new(SHOP_STREAM).unwrap();
    let records = store(&data).read(&name, 0, 100).unwrap();
    let last: Vec<_> = records.iter().rev().take(2).collect();
    let decode = |body: &[u8]| baytrim_jobs::codec::decode::<ShopEvent>(body).unwrap();
    let (issued, revoked) = (decode(&last[0].body), decode(&last[1].body));
    assert_eq!(issued.by.0, "baytrimd");
    assert!(matches!(issued.event, ShopEvent::TokenIssued { .. }));
    match revoked.event {
        ShopEvent::TokenRevoked { reason, .. } => assert_eq!(reason, "the laptop was stolen"),
        other => panic!("{other:?}"),
    }
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        let mode = std::fs::metadata(data.join(OWNER_FILE))
            .unwrap()
            .permissions()
            .mode();
        assert_eq!(mode & 0o777, 0o600);
    }
}

/// If this fails, the wrong person is made an owner, or a slip of the fingers makes somebody's token void.
#[test]
fn only_an_owner_who_is_meant_is_given_a_token() {
    let directory = tempfile::tempdir().unwrap();
    let data = directory.path().join("ledger");
    let nobody = recover(&data, &["--reason", "lost"]);
    assert_eq!(nobody.status.code(), Some(2), "{}", told(&nobody));
    let access = Access::open(store(&data), Some(&data)).unwrap();
    drop(access);
    let nobody = recover(&data, &["--reason", "lost"]);
    assert!(
        told(&nobody).contains("has no owner yet"),
        "{}",
        told(&nobody)
    );
    let access = Access::open(store(&data), Some(&data)).unwrap();
    establish(&access, &data).unwrap();
    join(&access, "Kim", &[Role::Owner]);
    join(&access, "Odo", &[Role::Tuner]);
    drop(access);
    let before = token(&data);
    for (words, expected) in [
        (&["--reason", "lost"][..], "Kim, owner"),
        (&["--reason", "lost", "--member", "Odo"], "is no owner"),
        (&["--reason", "lost", "--member", "Nobody"], "is no owner"),
        (&["--reason", " ", "--member", "owner"], "reason"),
        (&["--member", "owner"], "--reason"),
    ] {
        let output = recover(&data, words);
        assert_eq!(
            output.status.code(),
            Some(2),
            "{words:?}: {}",
            told(&output)
        );
        assert!(
            told(&output).contains(expected),
            "{words:?}: {}",
            told(&output)
        );
        assert_eq!(token(&data), before, "{words:?}");
    }
    let kim = recover(&data, &["--reason", "lost", "--member", "kim"]);
    assert!(kim.status.success(), "{}", told(&kim));
    let access = Access::open(store(&data), Some(&data)).unwrap();
    let admitted = access.admit(Some(&token(&data)), None).unwrap();
    assert_eq!(admitted.caller.member.name.as_str(), "Kim");
    // The other owner's are good as before.
    assert!(access.admit(Some(&before), None).is_ok());
}
