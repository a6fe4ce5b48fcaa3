//! The services, one file each.

pub(crate) mod access;
mod archives;
mod bays;
mod chunks;
mod corrections;
mod daemon;
mod jobs;
mod ledger;
mod library;
mod power;
mod pulls;
mod reviews;
mod stages;
mod suggest;
mod tables;
mod trace;
mod upload;
pub(crate) mod watches;

use std::sync::Arc;

use baytrim_checkpoint::Signer;
use tokio::sync::watch;
use tonic::service::Routes;
use tonic::{Code, Status};

use baytrim_api::v1::access_service_server::AccessServiceServer;
use baytrim_api::v1::bay_service_server::BayServiceServer;
use baytrim_api::v1::correction_service_server::CorrectionServiceServer;
use baytrim_api::v1::daemon_service_server::DaemonServiceServer;
use baytrim_api::v1::job_service_server::JobServiceServer;
use baytrim_api::v1::ledger_service_server::LedgerServiceServer;
use baytrim_api::v1::library_service_server::LibraryServiceServer;
use baytrim_api::v1::power_service_server::PowerServiceServer;
use baytrim_api::v1::pull_service_server::PullServiceServer;
use baytrim_api::v1::review_service_server::ReviewServiceServer;
use baytrim_api::v1::stage_service_server::StageServiceServer;
use baytrim_api::v1::table_service_server::TableServiceServer;
use baytrim_api::v1::watch_service_server::WatchServiceServer;

use crate::access::Access;
use crate::fault::Fault;
use crate::limits::{JOB_MESSAGE_BYTES_MAX, MESSAGE_BYTES_MAX, PULL_MESSAGE_BYTES_MAX};
use crate::shop::Shop;

pub use bays::Bays;
pub use corrections::Corrections;
pub use daemon::Daemon;
pub use jobs::Jobs;
pub use ledger::Ledger;
pub use library::Library;
pub use power::Power;
pub use pulls::Pulls;
pub use reviews::Reviews;
pub use stages::Stages;
pub use tables::Tables;
pub use watches::Watches;

/// Returns the routes of all services over `shop`, to be kept behind [`crate::access::gate`]; `stop` turns true when the daemon is to end.
pub fn routes(
    shop: &Arc<Shop>,
    access: &Access,
    signer: Option<Arc<Signer>>,
    stop: watch::Receiver<bool>,
) -> Routes {
    let jobs = JobServiceServer::new(Jobs::new(Arc::clone(shop)))
        .max_decoding_message_size(JOB_MESSAGE_BYTES_MAX);
    let pulls = PullServiceServer::new(Pulls::new(Arc::clone(shop), stop.clone()))
        .max_decoding_message_size(PULL_MESSAGE_BYTES_MAX);
    let corrections = CorrectionServiceServer::new(Corrections::new(Arc::clone(shop)))
        .max_decoding_message_size(MESSAGE_BYTES_MAX);
    let reviews = ReviewServiceServer::new(Reviews::new(Arc::clone(shop)))
        .max_decoding_message_size(MESSAGE_BYTES_MAX);
    let library = LibraryServiceServer::new(Library::new(Arc::clone(shop)))
        .max_decoding_message_size(MESSAGE_BYTES_MAX);
    let stages = StageServiceServer::new(Stages::new(Arc::clone(shop)))
        .max_decoding_message_size(MESSAGE_BYTES_MAX);
    let tables = TableServiceServer::new(Tables::new(Arc::clone(shop)))
        .max_decoding_message_size(MESSAGE_BYTES_MAX);
    let ledger = LedgerServiceServer::new(Ledger::new(Arc::clone(shop), signer, stop.clone()))
        .max_decoding_message_size(PULL_MESSAGE_BYTES_MAX);
    let daemon = DaemonServiceServer::new(Daemon::new(Arc::clone(shop)))
        .max_decoding_message_size(MESSAGE_BYTES_MAX);
    let bays = BayServiceServer::new(Bays::new(Arc::clone(shop)))
        .max_decoding_message_size(MESSAGE_BYTES_MAX);
    let members = AccessServiceServer::new(access::Access::new(access.clone()))
        .max_decoding_message_size(MESSAGE_BYTES_MAX);
    let watches = WatchServiceServer::new(Watches::new(Arc::clone(shop), stop))
        .max_decoding_message_size(MESSAGE_BYTES_MAX);
    let power = PowerServiceServer::new(Power::new(Arc::clone(shop)))
        .max_decoding_message_size(MESSAGE_BYTES_MAX);
    let mut routes = Routes::builder();
    routes
        .add_service(members)
        .add_service(jobs)
        .add_service(bays)
        .add_service(pulls)
        .add_service(power)
        .add_service(corrections)
        .add_service(reviews)
        .add_service(library)
        .add_service(stages)
        .add_service(tables)
        .add_service(ledger)
        .add_service(watches)
        .add_service(daemon);
    routes.routes()
}

/// Returns what is wrong with a message of a stream that did not come through.
pub(crate) fn message_fault(status: &Status, bytes_max: usize) -> Fault {
    // What tonic says of a message beyond its decoding limit.
    if status.code() == Code::OutOfRange {
        return Fault::TooLarge {
            what: "a message".to_owned(),
            max: bytes_max as u64,
            remedy: "send smaller chunks or batches",
        };
    }
    tracing::debug!(code = ?status.code(), message = status.message(), "a stream broke off");
    Fault::Cut
}
