//! The shop at a glance.

use baytrim_api::v1;
use baytrim_jobs::shop_view::{DONE_DAYS_MAX, DONE_DAYS_USUAL, days};
use baytrim_jobs::{JobBrief, Refusal};
use baytrim_model::ids::UnixMillis;

use super::time::timestamp;
use super::{bay, job, name};
use crate::shop_view::Seen;

/// Returns for how many days jobs that are done are asked for.
///
/// # Errors
/// When it is no number of days.
pub fn done_days(asked: i32) -> Result<u32, Refusal> {
    match u32::try_from(asked) {
        Ok(0) => Ok(DONE_DAYS_USUAL),
        Ok(days) if days <= DONE_DAYS_MAX => Ok(days),
        _ => Err(Refusal::field(
            "done_days",
            format!("{asked} is no number of days"),
            format!("write 1 to {DONE_DAYS_MAX}; 0 stands for {DONE_DAYS_USUAL}"),
        )),
    }
}

/// Returns the shop as it was seen.
pub fn view(seen: &Seen) -> v1::GetShopViewResponse {
    let bays = seen.view.bays.iter().map(|(known, jobs)| v1::BayView {
        bay: known.as_ref().map_or_else(String::new, name::bay),
        jobs: jobs.iter().map(|job| job_view(job, seen.at)).collect(),
        sensor_due: known
            .as_ref()
            .and_then(|bay| seen.due.get(bay))
            .map_or_else(Vec::new, |due| due.iter().map(bay::told).collect()),
    });
    v1::GetShopViewResponse {
        bays: bays.collect(),
        older_count: u32::try_from(seen.view.older_count).unwrap_or(u32::MAX),
        truncated: seen.is_truncated,
    }
}

fn job_view(brief: &JobBrief, at: UnixMillis) -> v1::JobView {
    let (updated, updater) = brief.updated();
    v1::JobView {
        name: name::job(&brief.facts.id),
        title: brief.facts.title.clone(),
        standing: job::standing(brief.standing(at)).into(),
        create_time: Some(timestamp(brief.opened_at)),
        update_time: Some(timestamp(updated)),
        updater: updater.to_string(),
        days: days(brief, at),
        pull_count: u32::try_from(brief.pull_count).unwrap_or(u32::MAX),
        stage_title: brief.stage_title.clone(),
    }
}
