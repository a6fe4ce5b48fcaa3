//! Files with certificates and keys, and the commands that make them.

use std::path::Path;
use std::process::{Command, Output};

use baytrimd::tls::{fingerprint, not_after, read_certificate};

use super::tls_house::{House, word};

fn baytrimd(words: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_baytrimd"));
    command.args(words).env_clear().output().unwrap()
}

fn said(output: &Output) -> String {
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    text(&output.stdout) + &text(&output.stderr)
}

/// If this fails, a key lies about readable, or is made anew although clients trust the old one.
#[test]
fn commands_make_keys_that_only_their_owner_reads() {
    let directory = tempfile::tempdir().unwrap();
    let data = directory.path().join("ledger");
    let data = word(&data);
    let open = ["serve", "--data", data, "--listen", "0.0.0.0:0"];
    let refused = baytrimd(&open);
    assert_eq!(refused.status.code(), Some(2));
    assert!(
        said(&refused).contains("baytrimd tls init"),
        "{}",
        said(&refused)
    );
    std::fs::remove_dir_all(data).unwrap();
    let made = baytrimd(&[
        "tls",
        "init",
        "--data",
        data,
        "--name",
        "shop-pc",
        "--name",
        "192.168.1.20",
    ]);
    assert!(made.status.success(), "{}", said(&made));
    assert!(
        said(&made).contains("shop-pc, 192.168.1.20"),
        "{}",
        said(&made)
    );
    let tls = Path::new(data).join("tls");
    let authority = read_certificate(&tls.join("authority.pem")).unwrap();
    assert!(said(&made).contains(&fingerprint(&authority)));
    let again = baytrimd(&["tls", "init", "--data", data]);
    assert_eq!(again.status.code(), Some(2));
    assert!(said(&again).contains("tls renew"), "{}", said(&again));
    let before = std::fs::read(tls.join("server.pem")).unwrap();
    let renewed = baytrimd(&["tls", "renew", "--data", data, "--days", "30"]);
    assert!(
        said(&renewed).contains("shop-pc, 192.168.1.20"),
        "{}",
        said(&renewed)
    );
    assert_ne!(std::fs::read(tls.join("server.pem")).unwrap(), before);
    assert_eq!(
        read_certificate(&tls.join("authority.pem")).unwrap(),
        authority
    );
    let issued = directory.path().join("bay-east.pem");
    let issue = [
        "tls",
        "issue",
        "bay-east",
        "--data",
        data,
        "--output",
        word(&issued),
    ];
    assert!(baytrimd(&issue).status.success());
    assert_eq!(
        baytrimd(&issue).status.code(),
        Some(2),
        "it is written over"
    );
    let bad = baytrimd(&["tls", "renew", "--data", data, "--name", "a b"]);
    assert_eq!(bad.status.code(), Some(2));
    assert!(said(&bad).contains("no name or address"), "{}", said(&bad));
    #[cfg(unix)]
    for file in [tls.join("authority.key"), tls.join("server.pem"), issued] {
        use std::os::unix::fs::PermissionsExt as _;
        let mode = std::fs::metadata(&file).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o600, "{}", file.display());
    }
}

/// If this fails, a daemon begins with a certificate that nobody can talk to it by, or with a key that everybody has.
#[test]
fn what_can_not_be_served_with_is_found_before_serving() {
    let (house, other) = (House::new(), House::new());
    let (own, others) = (house.path("tls/server.pem"), other.path("tls/server.pem"));
    let load = |certificate: &Path, key: &Path| {
        let flags = [
            ("tls.certificate", word(certificate)),
            ("tls.key", word(key)),
        ];
        house.load(&flags).map(|tls| tls.is_some())
    };
    assert!(load(&own, &own).unwrap());
    let told = |certificate: &Path, key: &Path| load(certificate, key).unwrap_err().to_string();
    assert!(told(&own, &others).contains("the key is the certificate's own"));
    assert!(told(&house.path("none.pem"), &own).contains("can't be read"));
    assert!(told(&house.path("tuner.token"), &own).contains("holds no certificate"));
    assert!(told(&own, &house.authority.path()).contains("holds no private key"));
    let torn = house.path("torn.pem");
    let whole = std::fs::read_to_string(&own).unwrap();
    std::fs::write(&torn, &whole[..whole.len() / 3]).unwrap();
    assert!(told(&torn, &own).contains("holds no certificate"));
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        let open = house.path("open.pem");
        std::fs::write(&open, &whole).unwrap();
        std::fs::set_permissions(&open, std::fs::Permissions::from_mode(0o604)).unwrap();
        assert!(told(&own, &open).contains("chmod"));
    }
    let bays = [("tls.bay_certificates", "true")];
    std::fs::remove_file(house.authority.path()).unwrap();
    assert!(
        house
            .load(&bays)
            .unwrap_err()
            .to_string()
            .contains("tls init")
    );
}

/// If this fails, other programs (browsers, the Python client) refuse the shop's certificates although our own
/// library takes them, or print another fingerprint or day than `tls show`. Held against OpenSSL's own path
/// validation (RFC 5280, section 6) and its reading of the certificate.
#[test]
fn openssl_agrees_about_certificates() {
    let house = House::new();
    let openssl = |words: &[&str]| {
        let output = Command::new("openssl").args(words).output();
        output
            .ok()
            .map(|output| (output.status.success(), said(&output)))
    };
    if openssl(&["version"]).is_none() {
        println!("skipped: there is no openssl on this machine");
        return;
    }
    let ask = |words: &[&str]| openssl(words).unwrap();
    let authority = house.authority.path();
    let (server, member) = (
        house.path("tls/server.pem"),
        house.issue("bay-east", baytrimd::clock::now(), 5),
    );
    let verify = |purpose: &str, file: &Path| {
        let (authority, file) = (word(&authority), word(file));
        ask(&[
            "verify",
            "-x509_strict",
            "-CAfile",
            authority,
            "-purpose",
            purpose,
            file,
        ])
        .0
    };
    assert!(verify("sslserver", &server) && verify("sslclient", &member));
    assert!(!verify("sslclient", &server) && !verify("sslserver", &member));
    let other = House::new();
    assert!(!verify("sslserver", &other.path("tls/server.pem")));
    let host = [
        "verify",
        "-verify_ip",
        "127.0.0.1",
        "-CAfile",
        word(&authority),
        word(&server),
    ];
    assert!(ask(&host).0);
    let read = ask(&[
        "x509",
        "-noout",
        "-fingerprint",
        "-sha256",
        "-enddate",
        "-in",
        word(&server),
    ])
    .1;
    let certificate = read_certificate(&server).unwrap();
    assert!(read.contains(&fingerprint(&certificate)), "{read}");
    let end = jiff::Timestamp::from_millisecond(not_after(&certificate).unwrap().0).unwrap();
    let end = end.strftime("notAfter=%b %e %H:%M:%S %Y GMT").to_string();
    assert!(read.contains(&end), "{read} lacks {end}");
}
