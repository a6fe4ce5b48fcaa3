//! The shop at a glance: jobs by bay and where they stand.

use std::collections::BTreeMap;

use baytrim_model::ids::{BayName, UnixMillis};

use crate::brief::JobBrief;
use crate::standing::JobStanding;

/// Days for which jobs that are done are shown where nobody says.
pub const DONE_DAYS_USUAL: u32 = 14;

/// Most days for which they are.
pub const DONE_DAYS_MAX: u32 = 366;

const DAY_MS: i64 = 24 * 3600 * 1000;

/// The shop at a glance.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ShopView {
    /// The jobs of each bay, those in review first, then in work, waiting, done, each by age; none: jobs that no bay
    /// has pulled and that several may.
    pub bays: BTreeMap<Option<BayName>, Vec<JobBrief>>,
    /// Jobs that were done longer ago.
    pub older_count: usize,
}

impl ShopView {
    /// Takes a job in, unless it was done more than `done_days` days before the moment that the clock tells.
    pub fn take(&mut self, job: JobBrief, clock: UnixMillis, done_days: u32) {
        let since = |at: UnixMillis| (clock.0 - at.0) / DAY_MS;
        if job
            .closed_at
            .is_some_and(|at| since(at) > i64::from(done_days))
        {
            self.older_count += 1;
            return;
        }
        self.bays.entry(bay(&job)).or_default().push(job);
    }

    /// Puts the jobs of each bay in their order.
    pub fn sort(&mut self, clock: UnixMillis) {
        let rank = |job: &JobBrief| match job.standing(clock) {
            JobStanding::InReview => 0,
            JobStanding::InWork => 1,
            JobStanding::Waiting => 2,
            JobStanding::Done => 3,
        };
        for jobs in self.bays.values_mut() {
            jobs.sort_by_key(|job| (rank(job), job.opened_at));
        }
    }
}

/// Returns the bay that a job is in: the one that pulled it last, else the only one that may.
fn bay(job: &JobBrief) -> Option<BayName> {
    let only = || match job.facts.bays.len() {
        1 => job.facts.bays.first().cloned(),
        _ => None,
    };
    job.last_bay.clone().or_else(only)
}

/// Returns the whole days that a job has been in the shop, up to its closing or to the moment that the clock tells.
pub fn days(job: &JobBrief, clock: UnixMillis) -> u32 {
    let end = job.closed_at.unwrap_or(clock);
    u32::try_from((end.0 - job.opened_at.0).max(0) / DAY_MS).unwrap_or(u32::MAX)
}
