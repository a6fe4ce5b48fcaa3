//! Messages to an address elsewhere.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use axum::Router;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode};
use baytrim_api::v1::{Proposal, RejectProposalRequest};
use baytrim_ledger::{MemoryStore, Store};
use baytrimd::config::WebhookSettings;
use baytrimd::tls::{SERVER_FILE, TLS_DIR};
use baytrimd::webhook::{Patience, SECRET_FILE, Webhook};
use tempfile::TempDir;
use tokio::net::TcpListener;
use tokio::sync::mpsc;
use tonic::service::Routes;
use tonic::transport::server::TcpIncoming;
use tonic::transport::{Identity, Server, ServerTlsConfig};

use crate::harness::{Daemon, by};
use crate::security::tls_house::House;

/// Longer than anything here takes on a busy machine; only a failing test waits so long.
const PATIENCE: Duration = Duration::from_secs(60);

/// Long enough for a message that must not come.
const QUIET: Duration = Duration::from_millis(500);

/// A message as it arrived.
#[derive(Debug, Clone)]
struct Arrived {
    id: String,
    second: String,
    signature: String,
    body: String,
}

impl Arrived {
    fn kind_and_state(&self) -> (String, String) {
        let body: serde_json::Value = serde_json::from_str(&self.body).unwrap();
        let text = |value: &serde_json::Value| value.as_str().unwrap().to_owned();
        (text(&body["type"]), text(&body["data"]["state"]))
    }
}

#[derive(Clone)]
struct Desk {
    arrived: mpsc::UnboundedSender<Arrived>,
    answers: Arc<Mutex<Vec<StatusCode>>>,
}

/// A receiver that gives the answers it is told, the last one for ever.
struct Receiver {
    url: String,
    arrived: mpsc::UnboundedReceiver<Arrived>,
}

async fn take(State(desk): State<Desk>, headers: HeaderMap, body: String) -> StatusCode {
    let header = |name: &str| headers[name].to_str().unwrap().to_owned();
    assert_eq!(header("content-type"), "application/json");
    let arrived = Arrived {
        id: header("webhook-id"),
        second: header("webhook-timestamp"),
        signature: header("webhook-signature"),
        body,
    };
    // The test may have seen enough.
    let _ = desk.arrived.send(arrived);
    let mut answers = desk.answers.lock().unwrap();
    if answers.len() > 1 {
        answers.remove(0)
    } else {
        answers[0]
    }
}

impl Receiver {
    async fn answering(answers: &[u16]) -> Self {
        Self::over(answers, None).await
    }

    /// Receives over TLS with a certificate of `house` where there is one.
    async fn over(answers: &[u16], house: Option<&House>) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        let (sender, arrived) = mpsc::unbounded_channel();
        let answers = answers
            .iter()
            .map(|code| StatusCode::from_u16(*code).unwrap());
        let desk = Desk {
            arrived: sender,
            answers: Arc::new(Mutex::new(answers.collect())),
        };
        let app = Router::new().fallback(take).with_state(desk);
        let mut server = Server::builder().accept_http1(true);
        if let Some(house) = house {
            let pem = std::fs::read(house.path(TLS_DIR).join(SERVER_FILE)).unwrap();
            let tls = ServerTlsConfig::new().identity(Identity::from_pem(&pem, &pem));
            server = server.tls_config(tls).unwrap();
        }
        let incoming = TcpIncoming::from(listener);
        let serving = server.add_routes(Routes::from(app));
        tokio::spawn(serving.serve_with_incoming(incoming));
        let scheme = if house.is_some() { "https" } else { "http" };
        Self {
            url: format!("{scheme}://{address}/hook"),
            arrived,
        }
    }

    async fn next(&mut self) -> Arrived {
        let arrived = tokio::time::timeout(PATIENCE, self.arrived.recv()).await;
        arrived.expect("a message").expect("the receiver lives")
    }

    async fn assert_quiet(&mut self) {
        let arrived = tokio::time::timeout(QUIET, self.arrived.recv()).await;
        assert!(arrived.is_err(), "one message too many: {arrived:?}");
    }

    fn webhook(&self, data: &Path) -> Webhook {
        self.trusting(data, None)
    }

    fn trusting(&self, data: &Path, ca_file: Option<PathBuf>) -> Webhook {
        let settings = WebhookSettings {
            url: self.url.clone(),
            secret_file: None,
            ca_file,
        };
        let mut webhook = Webhook::open(&settings, data).unwrap();
        webhook.patience = Patience {
            try_count_max: 3,
            first_pause: Duration::from_millis(5),
            pause_max: Duration::from_millis(20),
        };
        webhook
    }
}

async fn reject(daemon: &Daemon, proposal: &Proposal) {
    let request = RejectProposalRequest {
        name: proposal.name.clone(),
        etag: proposal.etag.clone(),
        reason: "not today".to_owned(),
        ..RejectProposalRequest::default()
    };
    daemon
        .reviews()
        .reject_proposal(by("Una", request))
        .await
        .unwrap();
}

fn data() -> (TempDir, Arc<dyn Store>) {
    (tempfile::tempdir().unwrap(), Arc::new(MemoryStore::new()))
}

fn assert_signed(arrived: &Arrived, data: &Path) {
    use base64::Engine as _;
    use base64::engine::general_purpose::STANDARD;
    let secret = std::fs::read_to_string(data.join(SECRET_FILE)).unwrap();
    let secret = STANDARD.decode(secret.trim().strip_prefix("whsec_").unwrap());
    let key = ring::hmac::Key::new(ring::hmac::HMAC_SHA256, &secret.unwrap());
    let tag = STANDARD.decode(arrived.signature.strip_prefix("v1,").unwrap());
    let said = format!("{}.{}.{}", arrived.id, arrived.second, arrived.body);
    ring::hmac::verify(&key, said.as_bytes(), &tag.unwrap()).expect("signed by the secret");
}

/// If this fails, a shop that wants messages misses one, gets one twice, or can't tell that it is ours.
#[tokio::test]
async fn a_proposal_is_told_when_it_waits_and_when_it_waits_no_longer() {
    let (data, store) = data();
    let mut receiver = Receiver::answering(&[503, 200]).await;
    let webhook = || receiver.webhook(data.path());
    let daemon = Daemon::telling(Arc::clone(&store), webhook()).await;
    daemon.open_job("j").await;
    let proposal = daemon.proposal("j").await;

    let failed = receiver.next().await;
    let again = receiver.next().await;
    assert_eq!(
        (&failed.id, &failed.body),
        (&again.id, &again.body),
        "a try again is the same message"
    );
    assert_signed(&again, data.path());
    let waiting = ("proposal.waiting".to_owned(), "open".to_owned());
    assert_eq!(again.kind_and_state(), waiting);
    assert!(again.body.contains(&proposal.name) && again.body.contains("off_target_percent"));
    assert!(!again.body.contains("Tova"), "no names of persons");

    // Once the daemon has noted the answer, a restart tells nothing twice, and what happens after it all the same.
    let told = data.path().join("webhook.told");
    let noted = async {
        while !std::fs::read_to_string(&told).is_ok_and(|names| names.contains(&proposal.name)) {
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
    };
    tokio::time::timeout(PATIENCE, noted).await.expect("noted");
    daemon.stop().await;
    let webhook = receiver.webhook(data.path());
    let daemon = Daemon::telling(Arc::clone(&store), webhook).await;
    receiver.assert_quiet().await;
    reject(&daemon, &proposal).await;
    let closed = receiver.next().await;
    assert_signed(&closed, data.path());
    assert_ne!(closed.id, again.id);
    let expected = ("proposal.closed".to_owned(), "rejected".to_owned());
    assert_eq!(closed.kind_and_state(), expected);
    receiver.assert_quiet().await;
}

/// If this fails, a receiver that can't be reached is asked for ever and nothing else is told, or one that is gone
/// is not left alone.
#[tokio::test]
async fn a_message_is_given_up_and_a_receiver_that_is_gone_is_left_alone() {
    let (data, store) = data();
    let mut receiver = Receiver::answering(&[500, 500, 500, 204, 410]).await;
    let daemon = Daemon::telling(store, receiver.webhook(data.path())).await;
    daemon.open_job("j").await;
    let proposal = daemon.proposal("j").await;
    let first = receiver.next().await;
    for _ in 0..2 {
        assert_eq!(receiver.next().await.id, first.id);
    }
    reject(&daemon, &proposal).await;
    let closed = receiver.next().await;
    assert_eq!(closed.kind_and_state().1, "rejected");
    daemon.open_job("k").await;
    let proposal = daemon.proposal("k").await;
    assert_eq!(receiver.next().await.kind_and_state().1, "open");
    reject(&daemon, &proposal).await;
    receiver.assert_quiet().await;
}

/// If this fails, messages go to somebody who is not the receiver that was named.
#[tokio::test]
async fn a_receiver_must_prove_itself_by_the_authority_that_was_named() {
    let (data, store) = data();
    let house = House::new();
    let mut receiver = Receiver::over(&[200], Some(&house)).await;
    let other = House::new();
    for ca_file in [None, Some(other.authority.path())] {
        let webhook = receiver.trusting(data.path(), ca_file);
        let daemon = Daemon::telling(Arc::new(MemoryStore::new()), webhook).await;
        daemon.open_job("j").await;
        daemon.proposal("j").await;
        receiver.assert_quiet().await;
        daemon.stop().await;
    }
    let webhook = receiver.trusting(data.path(), Some(house.authority.path()));
    let daemon = Daemon::telling(store, webhook).await;
    daemon.open_job("k").await;
    daemon.proposal("k").await;
    assert_signed(&receiver.next().await, data.path());

    let file = data.path().join("authority.pem");
    std::fs::write(&file, "no certificate").unwrap();
    let settings = |ca_file: &Path| WebhookSettings {
        url: "https://localhost:1/".to_owned(),
        secret_file: None,
        ca_file: Some(ca_file.to_owned()),
    };
    let refused = Webhook::open(&settings(&file), data.path()).unwrap_err();
    assert!(
        refused.to_string().contains("holds no certificate"),
        "{refused}"
    );
    let refused = Webhook::open(&settings(Path::new("/nowhere")), data.path()).unwrap_err();
    assert!(refused.to_string().contains("can't be read"), "{refused}");
}
