//! Looking at the whole shop: fetches what lists tell of jobs, and what is due of bays.

use std::collections::BTreeMap;

use baytrim_jobs::sensor_check::{SensorDue, due};
use baytrim_jobs::shop_view::ShopView;
use baytrim_ledger::StreamName;
use baytrim_model::ids::{BayName, JobId, UnixMillis};

use crate::clock;
use crate::fault::Fault;
use crate::limits::SHOP_VIEW_JOBS_MAX;
use crate::shop::{BAY_PREFIX, JOB_PREFIX, Shop};

/// Streams that are listed at a time.
const LIST_STREAMS: usize = 500;

/// The whole shop at one moment.
#[derive(Debug, Clone)]
pub struct Seen {
    /// When.
    pub at: UnixMillis,
    /// Its jobs.
    pub view: ShopView,
    /// Why the sensor of each bay should be looked at; empty where all is well.
    pub due: BTreeMap<BayName, Vec<SensorDue>>,
    /// Whether the shop has more jobs than were looked at.
    pub is_truncated: bool,
}

/// Returns the shop as it is now, with jobs that are done for `done_days` days.
///
/// # Errors
/// The store's fault, or records that tell no job or bay.
pub(crate) fn look(shop: &Shop, done_days: u32) -> Result<Seen, Fault> {
    let at = clock::now();
    let mut view = ShopView::default();
    let (mut after, mut count) = (None::<StreamName>, 0);
    let is_truncated = loop {
        let listed = shop
            .store()
            .streams(JOB_PREFIX, after.as_ref(), LIST_STREAMS)?;
        for (stream, head) in &listed {
            let id = stream.as_str().trim_start_matches(JOB_PREFIX);
            if let Ok(id) = id.parse::<JobId>() {
                view.take(shop.brief(&id, head)?.0, at, done_days);
                count += 1;
            }
        }
        match listed.into_iter().next_back() {
            None => break false,
            Some(_) if count >= SHOP_VIEW_JOBS_MAX => break true,
            Some((last, _)) => after = Some(last),
        }
    };
    view.sort(at);
    let due = bays_due(shop, &mut view, at)?;
    Ok(Seen {
        at,
        view,
        due,
        is_truncated,
    })
}

/// Returns what is due of each bay that a job or the ledger knows; bays without a job are put into the view.
fn bays_due(
    shop: &Shop,
    view: &mut ShopView,
    at: UnixMillis,
) -> Result<BTreeMap<BayName, Vec<SensorDue>>, Fault> {
    let known = shop.store().streams(BAY_PREFIX, None, LIST_STREAMS)?;
    for (stream, _) in known {
        if let Ok(bay) = stream.as_str().trim_start_matches(BAY_PREFIX).parse() {
            view.bays.entry(Some(bay)).or_default();
        }
    }
    let bays: Vec<BayName> = view.bays.keys().flatten().cloned().collect();
    let told = bays.into_iter().map(|bay| {
        let state = shop.bay(&bay)?.state;
        Ok((bay, due(&state, at)))
    });
    told.collect()
}
