//! Serves the API and the pages on one port until it is told to stop.

use std::future::Future;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::middleware;
use baytrim_api::v1::access_service_server::AccessServiceServer;
use baytrim_api::v1::correction_service_server::CorrectionServiceServer;
use baytrim_api::v1::daemon_service_server::DaemonServiceServer;
use baytrim_api::v1::job_service_server::JobServiceServer;
use baytrim_api::v1::ledger_service_server::LedgerServiceServer;
use baytrim_api::v1::power_service_server::PowerServiceServer;
use baytrim_api::v1::pull_service_server::PullServiceServer;
use baytrim_api::v1::review_service_server::ReviewServiceServer;
use baytrim_api::v1::table_service_server::TableServiceServer;
use baytrim_api::v1::watch_service_server::WatchServiceServer;
use baytrim_ledger::Store;
use tokio::net::TcpListener;
use tokio::sync::watch;
use tonic::transport::server::TcpIncoming;
use tonic_health::server::HealthReporter;

use crate::access::{Access, Door, gate};
use crate::checkpoints::{self, Checkpointing};
use crate::config::ServiceLimits;
use crate::follow::follow;
use crate::limits::{REQUESTS_PER_CONNECTION_MAX, SHUTDOWN_PATIENCE};
use crate::metrics;
use crate::page;
use crate::retention;
use crate::services;
use crate::services::{Corrections, Daemon, Jobs, Ledger, Power, Pulls, Reviews, Tables, Watches};
use crate::shop::{Shop, make_missing_briefs};
use crate::tls::Tls;
use crate::webhook::{self, Webhook};

/// What is served, and to whom.
pub struct Serving {
    /// Where records, blobs and spools are kept.
    pub store: Arc<dyn Store>,
    /// Limits that a shop may want to move.
    pub limits: ServiceLimits,
    /// Who may call.
    pub access: Access,
    /// What is shown on the wire so that nobody else can read it; none: everybody can.
    pub tls: Option<Tls>,
    /// Where figures are scraped; none: nowhere.
    pub metrics: Option<TcpListener>,
    /// How checkpoints are made.
    pub checkpoints: Checkpointing,
    /// Where messages go when a proposal waits; none: nowhere.
    pub webhook: Option<Webhook>,
}

/// Why serving ended before it was told to.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// The port's address can't be told.
    #[error("the listener has no address")]
    Address(#[source] std::io::Error),
    /// The descriptors for reflection can't be used.
    #[error("the API's own descriptors can't be read")]
    Descriptors(#[source] tonic_reflection::server::Error),
    /// The transport failed.
    #[error("serving failed")]
    Transport(#[source] tonic::transport::Error),
}

/// Serves on `listener` until `shutdown` resolves; then health turns to not serving, streams end with
/// UNAVAILABLE, requests under way are finished, for ten seconds at the most.
///
/// # Errors
/// When serving could not begin, or the transport failed.
pub async fn serve(
    serving: Serving,
    listener: TcpListener,
    shutdown: impl Future<Output = ()> + Send + 'static,
) -> Result<(), ServeError> {
    let address = listener.local_addr().map_err(ServeError::Address)?;
    let Serving {
        store,
        limits,
        access,
        tls,
        metrics: scraped,
        checkpoints: checkpointing,
        webhook,
    } = serving;
    let shop = Arc::new(Shop::new(store, limits).with(access.clone()));
    let metrics = Arc::clone(shop.metrics());
    let (stop, stopped) = watch::channel(false);
    if let Some(listener) = scraped {
        let stopped = told_to_stop(stopped.clone());
        tokio::spawn(metrics::serve::serve(
            Arc::clone(&metrics),
            listener,
            stopped,
        ));
    }
    let signer = checkpointing.signer.clone();
    tokio::spawn(checkpoints::every(
        Arc::clone(&shop),
        checkpointing,
        stopped.clone(),
    ));
    if let Some(webhook) = webhook {
        tokio::spawn(webhook::run(Arc::clone(&shop), webhook, stopped.clone()));
    }
    let rules = shop.limits().retention;
    tokio::spawn(retention::every(Arc::clone(&shop), rules, stopped.clone()));
    tokio::spawn(make_missing_briefs(Arc::clone(&shop), stopped.clone()));
    let (health, health_service) = tonic_health::server::health_reporter();
    set_health(&health, true).await;
    if shop.store().is_shared() {
        let (reached, is_reached) = watch::channel(true);
        let (shop, access) = (Arc::clone(&shop), access.clone());
        tokio::spawn(follow(shop, access, reached, stopped.clone()));
        tokio::spawn(tell_reach(health.clone(), is_reached, stopped.clone()));
    }
    let reflection = tonic_reflection::server::Builder::configure()
        .register_encoded_file_descriptor_set(baytrim_api::DESCRIPTORS)
        .register_encoded_file_descriptor_set(tonic_health::pb::FILE_DESCRIPTOR_SET)
        .build_v1()
        .map_err(ServeError::Descriptors)?;
    let door = Door {
        access: access.clone(),
        bays_show_certificates: tls.as_ref().is_some_and(|tls| tls.bays_show_certificates),
    };
    let routes = services::routes(&shop, &access, signer, stopped.clone())
        .add_service(health_service)
        .add_service(reflection)
        .into_axum_router()
        .route_layer(middleware::from_fn_with_state(door, gate));
    let app = page::router(shop, access)
        .merge(routes)
        .fallback(page::nowhere)
        .layer(middleware::from_fn_with_state(
            metrics,
            metrics::requests::count,
        ));
    let told = {
        let health = health.clone();
        async move {
            shutdown.await;
            tracing::info!(
                "stopping: no new requests, streams end, requests under way are finished"
            );
            set_health(&health, false).await;
            let _ = stop.send(true);
        }
    };
    tracing::info!(%address, encrypted = tls.is_some(), "serving");
    run(app, (listener, tls), told, stopped).await?;
    tracing::info!("stopped");
    Ok(())
}

async fn run(
    app: Router,
    (listener, tls): (TcpListener, Option<Tls>),
    told: impl Future<Output = ()> + Send + 'static,
    mut stopped: watch::Receiver<bool>,
) -> Result<(), ServeError> {
    let mut server = tonic::transport::Server::builder();
    if let Some(tls) = tls {
        server = server
            .tls_config(tls.config)
            .map_err(ServeError::Transport)?;
    }
    let server = server
        .accept_http1(true)
        .max_concurrent_streams(REQUESTS_PER_CONNECTION_MAX)
        .initial_stream_window_size(1 << 20)
        .initial_connection_window_size(4 << 20)
        .http2_keepalive_interval(Some(Duration::from_secs(20)))
        .http2_keepalive_timeout(Some(Duration::from_secs(10)))
        .add_routes(tonic::service::Routes::from(app))
        .serve_with_incoming_shutdown(TcpIncoming::from(listener).with_nodelay(Some(true)), told);
    let patience = async {
        let _ = stopped.wait_for(|stopping| *stopping).await;
        tokio::time::sleep(SHUTDOWN_PATIENCE).await;
    };
    tokio::select! {
        ended = server => ended.map_err(ServeError::Transport),
        () = patience => {
            tracing::warn!("some requests did not end in time and are cut off");
            Ok(())
        }
    }
}

/// Lets the health of the services follow whether the ledger is reached: requests go to another daemon meanwhile. That
/// of the daemon itself stays: starting it anew would help nobody.
async fn tell_reach(
    health: HealthReporter,
    mut is_reached: watch::Receiver<bool>,
    stopped: watch::Receiver<bool>,
) {
    while is_reached.changed().await.is_ok() {
        let is_serving = *is_reached.borrow_and_update();
        if *stopped.borrow() {
            return;
        }
        set_services(&health, is_serving).await;
    }
}

async fn set_health(health: &HealthReporter, is_serving: bool) {
    let status = if is_serving {
        tonic_health::ServingStatus::Serving
    } else {
        tonic_health::ServingStatus::NotServing
    };
    health.set_service_status("", status).await;
    set_services(health, is_serving).await;
}

async fn set_services(health: &HealthReporter, is_serving: bool) {
    macro_rules! set {
        ($($service:ty),*) => {
            if is_serving {
                $(health.set_serving::<$service>().await;)*
            } else {
                $(health.set_not_serving::<$service>().await;)*
            }
        };
    }
    set!(
        JobServiceServer<Jobs>,
        PullServiceServer<Pulls>,
        PowerServiceServer<Power>,
        CorrectionServiceServer<Corrections>,
        ReviewServiceServer<Reviews>,
        TableServiceServer<Tables>,
        LedgerServiceServer<Ledger>,
        WatchServiceServer<Watches>,
        DaemonServiceServer<Daemon>,
        AccessServiceServer<services::access::Access>
    );
}

/// Resolves when the daemon is to end.
async fn told_to_stop(mut stopped: watch::Receiver<bool>) {
    // A channel that is closed means the same.
    let _ = stopped.wait_for(|stopping| *stopping).await;
}

/// Returns whether an address is reached from this machine only.
pub fn is_loopback(address: &SocketAddr) -> bool {
    address.ip().is_loopback()
}
