//! Following what other daemons record in the same ledger: those who watch here hear of it, who works in the shop is
//! known here, and whether the ledger can be reached at all is told to whoever spreads requests over daemons.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Instant;

use baytrim_ledger::StreamName;
use tokio::sync::watch;

use crate::access::{Access, SHOP_STREAM};
use crate::compute::blocking;
use crate::fault::Fault;
use crate::limits::{FOLLOW_EVERY, FOLLOW_REST, FOLLOW_STREAMS, WATCH_LOOK};
use crate::shop::Shop;

/// Heads that were seen last: how many records each stream has.
type Seen = BTreeMap<StreamName, u64>;

/// Looks at the ledger again and again until `stop` turns true; `reached` hears whether it could.
#[expect(
    clippy::disallowed_methods,
    reason = "how long a look takes decides how often there is one"
)]
pub(crate) async fn follow(
    shop: Arc<Shop>,
    access: Access,
    reached: watch::Sender<bool>,
    mut stop: watch::Receiver<bool>,
) {
    let mut seen: Option<Seen> = None;
    loop {
        let began = Instant::now();
        let mut rest = FOLLOW_EVERY;
        let looked = look(&shop, &access, seen.take()).await;
        let is_behind = looked.as_ref().is_err_and(Fault::is_behind);
        shop.metrics().store_behind.set(is_behind.into());
        match looked {
            Ok(found) => {
                seen = Some(found);
                rest = (began.elapsed() * FOLLOW_REST).clamp(FOLLOW_EVERY, WATCH_LOOK);
                reached.send_if_modified(|was| !std::mem::replace(was, true));
            }
            Err(fault) => {
                // Whatever was missed is found by the next look: everything counts as new then.
                seen = Some(Seen::new());
                if reached.send_if_modified(|was| std::mem::replace(was, false)) {
                    tracing::error!(
                        error = &fault as &dyn std::error::Error,
                        "the ledger can't be reached"
                    );
                }
            }
        }
        tokio::select! {
            () = tokio::time::sleep(rest) => {}
            _ = stop.wait_for(|stopping| *stopping) => return,
        }
    }
}

/// Looks at all heads once and tells of those that differ from what was seen; the first look tells nothing.
async fn look(shop: &Arc<Shop>, access: &Access, before: Option<Seen>) -> Result<Seen, Fault> {
    let (shop, access) = (Arc::clone(shop), access.clone());
    blocking(move || {
        let mut now = Seen::new();
        let mut after = None;
        loop {
            let listed = shop.store().streams("", after.as_ref(), FOLLOW_STREAMS)?;
            let Some((last, _)) = listed.last() else {
                break;
            };
            after = Some(last.clone());
            now.extend(
                listed
                    .into_iter()
                    .map(|(stream, head)| (stream, head.next_seq)),
            );
        }
        let Some(before) = before else { return Ok(now) };
        for (stream, count) in &now {
            if before.get(stream) == Some(count) {
                continue;
            }
            if stream.as_str() == SHOP_STREAM {
                access.look()?;
            }
            shop.heard(stream);
        }
        Ok(now)
    })
    .await
}
