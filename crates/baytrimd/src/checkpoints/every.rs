//! Checkpoints by the clock.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use baytrim_checkpoint::Signer;
use tokio::sync::watch;

use super::{Checkpointing, Sealed, make};
use crate::clock;
use crate::compute::blocking;
use crate::fault::Fault;
use crate::private;
use crate::shop::Shop;

/// Makes a checkpoint every so often until `stopped` turns true; one that fails is logged and tried again next time.
pub async fn every(shop: Arc<Shop>, settings: Checkpointing, mut stopped: watch::Receiver<bool>) {
    let (Some(signer), Some(pause)) = (settings.signer, settings.every) else {
        return;
    };
    loop {
        let told = stopped.wait_for(|stopping| *stopping);
        if tokio::time::timeout(pause, told).await.is_ok() {
            return;
        }
        let made = once(&shop, &signer, settings.directory.clone()).await;
        match made {
            Ok((sealed, true)) => {
                tracing::info!(number = sealed.checkpoint.number, "a checkpoint was signed");
            }
            Ok((_, false)) => {}
            Err(fault) => tracing::error!(
                error = &fault as &dyn std::error::Error,
                pause_s = Duration::as_secs(&pause),
                "no checkpoint could be made; it is tried again"
            ),
        }
    }
}

async fn once(
    shop: &Arc<Shop>,
    signer: &Arc<Signer>,
    directory: Option<PathBuf>,
) -> Result<(Sealed, bool), Fault> {
    let (shop, signer) = (Arc::clone(shop), Arc::clone(signer));
    blocking(move || {
        let (sealed, is_new) = make(&**shop.store(), &signer, clock::now())?;
        if let Some(directory) = directory
            && let Err(error) = write(&directory, &sealed)
        {
            // The ledger has it all the same; the next one may be written again.
            tracing::error!(directory = %directory.display(), %error, "a checkpoint's file could not be written; check `checkpoints.directory`");
        }
        Ok((sealed, is_new))
    })
    .await
}

/// Writes the file where it is not there yet.
fn write(directory: &Path, sealed: &Sealed) -> std::io::Result<()> {
    let path = directory.join(format!("checkpoint-{:08}.txt", sealed.checkpoint.number));
    if path.exists() {
        return Ok(());
    }
    private::replace(&path, &sealed.file)
}
