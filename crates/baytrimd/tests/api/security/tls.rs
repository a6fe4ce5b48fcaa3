//! TLS over real sockets: who is talked to, and who is let in.

use axum::http::{Request as HttpRequest, StatusCode};
use baytrim::Exit;
use baytrim_model::ids::UnixMillis;
use baytrimd::clock;
use http_body_util::BodyExt as _;
use tokio::io::AsyncWriteExt as _;
use tokio::net::TcpStream;
use tonic::body::Body;
use tonic::transport::{Certificate, Channel, ClientTlsConfig, Endpoint};
use tower::ServiceExt as _;

use super::tls_house::{DAY_MS, Daemon, House, terminal, word};

const WITH_BAYS: [(&str, &str); 1] = [("tls.bay_certificates", "true")];

fn days_ago(days: i64) -> UnixMillis {
    UnixMillis(clock::now().0 - days * DAY_MS)
}

async fn channel(daemon: &Daemon, house: &House) -> Channel {
    let root = std::fs::read(house.authority.path()).unwrap();
    let tls = ClientTlsConfig::new().ca_certificate(Certificate::from_pem(root));
    let endpoint = Endpoint::from_shared(daemon.url()).unwrap();
    endpoint.tls_config(tls).unwrap().connect().await.unwrap()
}

/// If this fails, a client with the shop's own authority can't talk to the daemon, or one without it can, or
/// whoever takes the daemon's place is shown a token.
#[tokio::test]
async fn the_shops_authority_proves_the_daemon_and_no_other_does() {
    let (house, other) = (House::new(), House::new());
    let daemon = Daemon::start(house.load(&[]).unwrap()).await;
    // The authority's file is found in the daemon's directory, beside the token.
    for host in ["127.0.0.1", "localhost"] {
        let url = format!("https://{host}:{}", daemon.address.port());
        let said = house.command(&url, "tuner", &["whoami"]).await;
        assert_eq!(said.exit, Exit::Done, "{said:?}");
        assert!(said.out.contains("tuner"), "{said:?}");
    }
    // Beside a token on another machine, where there is no directory of a daemon's.
    let bay_pc = tempfile::tempdir().unwrap();
    let token = bay_pc.path().join("t.token");
    std::fs::copy(house.path("tuner.token"), &token).unwrap();
    std::fs::copy(house.authority.path(), bay_pc.path().join("authority.pem")).unwrap();
    let said = terminal(&daemon.url(), Some(token.clone()), &["whoami"]).await;
    assert_eq!(said.exit, Exit::Done, "{said:?}");
    // Another shop's authority, found or named.
    std::fs::copy(other.authority.path(), bay_pc.path().join("authority.pem")).unwrap();
    let found = terminal(&daemon.url(), Some(token), &["whoami"]).await;
    let path = other.authority.path();
    let named = house
        .command(
            &daemon.url(),
            "tuner",
            &["whoami", "--ca-file", word(&path)],
        )
        .await;
    for said in [found, named] {
        assert_eq!(said.exit, Exit::Unreachable, "{said:?}");
        assert!(said.err.contains("--ca-file"), "{said:?}");
    }
    daemon.stop().await;
}

/// If this fails, a daemon's certificate that has ended, or that is for another machine, is taken for good.
#[tokio::test]
async fn certificates_that_ended_or_are_of_others_are_refused() {
    let house = House::new();
    house.authority.make_server(&[], (days_ago(10), 5)).unwrap();
    let error = house.load(&[]).unwrap_err().to_string();
    assert!(
        error.contains("ended on") && error.contains("tls renew"),
        "{error}"
    );
    // One that ends while the daemon serves is refused by its clients.
    let tls = house.load_at(&[], days_ago(8)).unwrap();
    let daemon = Daemon::start(tls).await;
    let said = house.command(&daemon.url(), "tuner", &["whoami"]).await;
    assert_eq!(said.exit, Exit::Unreachable, "{said:?}");
    assert!(said.err.contains("tls renew"), "{said:?}");
    daemon.stop().await;
    house.authority.make_server(&[], (clock::now(), 5)).unwrap();
    let daemon = Daemon::at("127.0.0.2:0", house.load(&[]).unwrap()).await;
    let said = house.command(&daemon.url(), "tuner", &["whoami"]).await;
    assert_eq!(said.exit, Exit::Unreachable, "{said:?}");
    assert!(said.err.contains("tls renew --name"), "{said:?}");
    daemon.stop().await;
    let names = ["127.0.0.2".to_owned(), "shop-pc.example".to_owned()];
    house
        .authority
        .make_server(&names, (clock::now(), 5))
        .unwrap();
    let daemon = Daemon::at("127.0.0.2:0", house.load(&[]).unwrap()).await;
    let said = house.command(&daemon.url(), "tuner", &["whoami"]).await;
    assert_eq!(said.exit, Exit::Done, "{said:?}");
    daemon.stop().await;
}

/// If this fails, connections that begin a handshake and say no more keep others out.
#[tokio::test]
async fn stalled_handshakes_keep_nobody_out() {
    let house = House::new();
    let daemon = Daemon::start(house.load(&[]).unwrap()).await;
    // The beginning of a client's first message (RFC 8446, 5.1): a handshake record of 512 bytes, of which none come.
    let hello = [0x16, 0x03, 0x01, 0x02, 0x00];
    let mut stalled = Vec::new();
    for number in 0..200 {
        let mut stream = TcpStream::connect(daemon.address).await.unwrap();
        stream.write_all(&hello[..number % 6]).await.unwrap();
        stalled.push(stream);
    }
    let said = house.command(&daemon.url(), "tuner", &["whoami"]).await;
    assert_eq!(said.exit, Exit::Done, "{said:?}");
    println!("{} stalled handshakes", stalled.len());
    drop(stalled);
    daemon.stop().await;
}

/// If this fails, a client that encrypts nothing gets an answer from a daemon that does, or the other way round,
/// or is not told what is wrong.
#[tokio::test]
async fn plain_and_encrypted_do_not_mix() {
    let house = House::new();
    let daemon = Daemon::start(house.load(&[]).unwrap()).await;
    let plain = format!("http://{}", daemon.address);
    let said = house.command(&plain, "tuner", &["whoami"]).await;
    assert_eq!(said.exit, Exit::Unreachable, "{said:?}");
    assert!(said.err.contains("https://"), "{said:?}");
    daemon.stop().await;
    let daemon = Daemon::start(None).await;
    let said = house.command(&daemon.url(), "tuner", &["whoami"]).await;
    assert_eq!(said.exit, Exit::Unreachable, "{said:?}");
    assert!(said.err.contains("write http://"), "{said:?}");
    daemon.stop().await;
}

/// If this fails, whoever copied a bay's token can use it without the bay's key, or a person needs a certificate too.
#[tokio::test]
async fn bays_show_certificates_of_their_own() {
    let (house, other) = (House::new(), House::new());
    let daemon = Daemon::start(house.load(&WITH_BAYS).unwrap()).await;
    let url = daemon.url();
    let told = async |name: &str, certificate: Option<&std::path::Path>| {
        let mut words = vec!["whoami", "--json"];
        if let Some(path) = certificate {
            words.extend(["--certificate", word(path)]);
        }
        let said = house.command(&url, name, &words).await;
        (said.exit, said.err)
    };
    assert_eq!(told("tuner", None).await.0, Exit::Done);
    let (exit, err) = told("bay-east", None).await;
    assert_eq!(exit, Exit::NotPermitted, "{err}");
    assert!(err.contains("CERTIFICATE_NEEDED"), "{err}");
    let own = house.issue("bay-east", clock::now(), 5);
    assert_eq!(told("bay-east", Some(&own)).await.0, Exit::Done);
    // Names of members are the same in any letters.
    let own = house.issue("Bay-East", clock::now(), 6);
    assert_eq!(told("bay-east", Some(&own)).await.0, Exit::Done);
    let wests = house.issue("bay-west", clock::now(), 5);
    let (exit, err) = told("bay-east", Some(&wests)).await;
    assert_eq!(exit, Exit::NotPermitted, "{err}");
    assert!(err.contains("CERTIFICATE_NEEDED"), "{err}");
    // Of another authority, ended, and the daemon's own: the handshake fails.
    let foreign = other.issue("bay-east", clock::now(), 5);
    let ended = house.issue("bay-east", days_ago(10), 4);
    for bad in [foreign, ended, house.path("tls/server.pem")] {
        let (exit, err) = told("bay-east", Some(&bad)).await;
        assert_eq!(exit, Exit::Unreachable, "{bad:?}: {err}");
    }
    // Found beside the token, without being named.
    std::fs::copy(
        house.issue("bay-east", clock::now(), 7),
        house.path("bay-east.pem"),
    )
    .unwrap();
    assert_eq!(told("bay-east", None).await.0, Exit::Done);
    daemon.stop().await;
}

/// If this fails, the review page is not served over TLS, or its session's cookie may travel in the clear.
#[tokio::test]
async fn the_page_is_served_over_the_same_tls() {
    let house = House::new();
    let daemon = Daemon::start(house.load(&[]).unwrap()).await;
    let channel = channel(&daemon, &house).await;
    let ask = async |method: &str, path: &str, form: String| {
        let request = HttpRequest::builder()
            .method(method)
            .uri(format!("{}{path}", daemon.url()))
            .header("origin", daemon.url())
            .header("content-type", "application/x-www-form-urlencoded")
            .body(Body::new(http_body_util::Full::new(form.into())))
            .unwrap();
        channel.clone().oneshot(request).await.unwrap()
    };
    let answer = ask("GET", "/sign-in", String::new()).await;
    assert_eq!(answer.status(), StatusCode::OK);
    let page = answer.into_body().collect().await.unwrap().to_bytes();
    assert!(String::from_utf8_lossy(&page).contains("Your token"));
    let token = std::fs::read_to_string(house.path("tuner.token")).unwrap();
    let answer = ask("POST", "/sign-in", format!("to=/&token={}", token.trim())).await;
    let cookie = answer.headers()["set-cookie"].to_str().unwrap();
    assert!(
        cookie.contains("; Secure") && cookie.contains("HttpOnly"),
        "{cookie}"
    );
    drop(channel);
    daemon.stop().await;
}
